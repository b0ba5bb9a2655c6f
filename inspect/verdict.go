package inspect

// gravity orders severities. An unmeasured thing is graver than a remark and less than a doubt
// about a thing that was seen.
func (s Severity) gravity() int {
	switch s {
	case Fail:
		return 4
	case Review:
		return 3
	case Unmeasured:
		return 2
	case Info:
		return 1
	}
	return 0
}

func (v Verdict) gravity() int {
	switch v {
	case Retake:
		return 3
	case Rescan:
		return 2
	case Correct:
		return 1
	}
	return 0
}

// verdictOf is the gravest action that any finding asks for.
//
// A finding of severity review asks for its action like a failed one: it lies outside the
// protocol's limits, and `send` is said only where nothing does. An unmeasured one does the
// same, so nothing is sent while something that the protocol asks for was not seen. A remark
// (info) asks for nothing.
func verdictOf(findings []Finding) Verdict {
	gravest := Send
	for _, f := range findings {
		if f.Severity == Info {
			continue
		}
		if f.Action.gravity() > gravest.gravity() {
			gravest = f.Action
		}
	}
	return gravest
}

// Means says what a verdict asks of the reader: what to do, a colon, and more of it.
func (v Verdict) Means() string {
	switch v {
	case Send:
		return "ready for the laboratory: nothing lies outside the protocol's limits"
	case Correct:
		return "mend it at the chairside, then scan again: add, trim, wash, or reline the rim"
	case Rescan:
		return "scan again: the impression may be sound, the scan is not"
	case Retake:
		return "take a new impression: too much is missing or too large to mend"
	}
	return "not judged"
}
