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

// Means says what a verdict asks of the reader.
func (v Verdict) Means() string {
	switch v {
	case Send:
		return "nothing lies outside the protocol's limits: it can go to the laboratory"
	case Correct:
		return "mend it at the chairside (add, trim, wash, reline the rim), then scan again"
	case Rescan:
		return "the impression may be sound, the scan is not: scan again"
	case Retake:
		return "take a new impression"
	}
	return "not judged"
}
