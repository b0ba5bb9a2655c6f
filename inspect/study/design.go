package study

import (
	"cmp"
	"fmt"
	"slices"
)

// Design says which columns mean what. An empty column is not there.
type Design struct {
	Group     string // what the descriptions are divided by
	Subject   string // what was measured; with the jaw, since a subject has two
	Condition string // what changes between measurements of a subject: an operator, a device
}

// Guess finds a design in the names of a table's columns: subject; operator or device, whichever has
// two levels; and groups by the condition, or else by jaw.
func Guess(t *Table) Design {
	var d Design
	if t.Has("subject") {
		d.Subject = "subject"
	}
	for _, c := range []string{"operator", "device", "method"} {
		if len(t.Levels(c)) > 1 {
			d.Condition = c
			break
		}
	}
	for _, c := range []string{"group", d.Condition, "jaw"} {
		if c != "" && len(t.Levels(c)) > 1 {
			d.Group = c
			break
		}
	}
	return d
}

// Group is the values of one group and what they come to.
type Group struct {
	Name    string
	Rows    []Row   // of which the quantity is there
	Summary Summary // N is 0: nothing is there
}

// Gap is a value that is not there.
type Gap struct {
	Path, Why string
}

// Result is all that is said of one quantity. What is nil has its reason in the field behind it.
type Result struct {
	Quantity       string
	Groups         []Group
	Gaps           []Gap
	Precision      *Precision
	PrecisionWhy   string
	Correlation    *Correlations
	Dropped        int // subjects that some condition lacks
	CorrelationWhy string
	Agreement      *Agreement
	A, B           string // the conditions compared, A - B
	Pairs          []RowPair
	Unpaired       int // values without a partner
	AgreementWhy   string
	Plan           *Plan // for the mean,
	LimitPlan      *Plan // and for the limits of agreement
	RepeatPlan     int   // repeats beyond the first of each subject with which the repeatability SD is known to PlanFactor; 0: none
}

// PlanFactor is how many times its estimate a repeatability SD may be after as many repeats as are planned.
const PlanFactor = 1.25

// RowPair is two scans of one subject under two conditions.
type RowPair struct {
	Subject string
	A, B    Row
}

// Plan is what sample a narrower interval would ask for.
type Plan struct {
	Half     float64 // of the interval, to either side
	Subjects int     // for limits of agreement: pairs, each of another subject
}

// Study says all that a table holds about one quantity. half is the half width that a next study
// should reach, of the mean and of the limits of agreement; 0: half of what this one has.
//
// Values of one subject and condition are repeats. The correlation takes the first of them in the
// order of the table; agreement pairs the first with the first, the second with the second.
func Study(t *Table, quantity string, d Design, half, confidence float64) (Result, error) {
	s := Result{Quantity: quantity}
	var rows []Row
	for _, r := range t.Rows {
		switch _, there := r.Value[quantity]; {
		case r.Failed != "":
			s.Gaps = append(s.Gaps, Gap{r.Path, r.Failed})
		case !there:
			s.Gaps = append(s.Gaps, Gap{r.Path, cmp.Or(r.Why[quantity], "not measured; its report says why")})
		default:
			rows = append(rows, r)
		}
	}
	if err := s.describe(rows, t, d, confidence); err != nil {
		return s, err
	}
	if all := s.Groups[0].Summary; all.MeanInterval != nil {
		s.Plan = plan(SizeForMean, *all.SD, (all.Mean-all.MeanInterval.Low)/2, half, confidence)
	}
	if d.Subject == "" {
		why := "no column says which scans are of one subject"
		s.PrecisionWhy, s.CorrelationWhy, s.AgreementWhy = why, why, why
		return s, nil
	}
	cells, subjects, conditions := arrange(rows, d)
	s.precision(cells, confidence)
	s.correlation(cells, conditions, confidence)
	s.agreement(cells, subjects, conditions, confidence)
	if g := s.Agreement; g != nil && g.LowerBA != nil {
		s.LimitPlan = plan(SizeForLimit, *g.SD, (g.Limits.Low-g.LowerBA.Low)/2, half, confidence)
	}
	if s.Precision != nil {
		if n, err := SizeForSD(PlanFactor, confidence); err == nil {
			s.RepeatPlan = n
		}
	}
	return s, nil
}

// plan asks for half what there is, or for what was asked.
func plan(size func(sd, half, confidence float64) (int, error), sd, here, asked, confidence float64) *Plan {
	if asked == 0 {
		asked = here
	}
	n, err := size(sd, asked, confidence)
	if err != nil {
		return nil
	}
	return &Plan{asked, n}
}

// describe fills in the groups: all values first, then each group.
func (s *Result) describe(rows []Row, t *Table, d Design, confidence float64) error {
	names := []string{""}
	if d.Group != "" {
		names = append(names, t.Levels(d.Group)...)
	}
	for i, name := range names {
		g := Group{Name: name}
		var v []float64
		for _, r := range rows {
			if i == 0 || r.Text[d.Group] == name {
				g.Rows = append(g.Rows, r)
				v = append(v, r.Value[s.Quantity])
			}
		}
		if len(v) == 0 {
			g.Summary.Why = "nothing is there"
		} else {
			var err error
			if g.Summary, err = Describe(v, confidence); err != nil {
				return err
			}
		}
		s.Groups = append(s.Groups, g)
	}
	return nil
}

// of is what a scan is of: the subject, with the jaw, since a subject has two, and the condition; empty
// where the table does not say.
func (d Design) of(r Row) (subject, condition string) {
	if d.Condition != "" {
		condition = r.Text[d.Condition]
	}
	subject = r.Text[d.Subject]
	if subject != "" && d.Subject != "jaw" && r.Jaw != "" {
		subject += " " + r.Jaw
	}
	return subject, condition
}

// arrange sorts rows into cells[subject][condition]; rows without a subject or condition are left out.
func arrange(rows []Row, d Design) (cells [][][]Row, subjects, conditions []string) {
	for _, r := range rows {
		subject, condition := d.of(r)
		if subject == "" || d.Condition != "" && condition == "" {
			continue
		}
		if !slices.Contains(subjects, subject) {
			subjects = append(subjects, subject)
		}
		if !slices.Contains(conditions, condition) {
			conditions = append(conditions, condition)
		}
	}
	slices.Sort(conditions)
	cells = make([][][]Row, len(subjects))
	for i := range cells {
		cells[i] = make([][]Row, len(conditions))
	}
	for _, r := range rows {
		subject, condition := d.of(r)
		i, j := slices.Index(subjects, subject), slices.Index(conditions, condition)
		if i >= 0 && j >= 0 {
			cells[i][j] = append(cells[i][j], r)
		}
	}
	return cells, subjects, conditions
}

func (s *Result) precision(cells [][][]Row, confidence float64) {
	values := make([][][]float64, len(cells))
	for i, subject := range cells {
		for _, cell := range subject {
			var v []float64
			for _, r := range cell {
				v = append(v, r.Value[s.Quantity])
			}
			values[i] = append(values[i], v)
		}
	}
	p, err := Precise(values, confidence)
	if err != nil {
		s.PrecisionWhy = err.Error()
		return
	}
	s.Precision, s.PrecisionWhy = &p, p.Why
}

// correlation takes conditions for judges, or where there is one only, repeats.
func (s *Result) correlation(cells [][][]Row, conditions []string, confidence float64) {
	var x [][]float64
	width := len(conditions)
	if width == 1 {
		for _, subject := range cells {
			width = max(width, len(subject[0]))
		}
	}
	for _, subject := range cells {
		var row []float64
		for _, cell := range subject {
			for k, r := range cell {
				if k == 0 || len(conditions) == 1 {
					row = append(row, r.Value[s.Quantity])
				}
			}
		}
		if len(row) == width {
			x = append(x, row)
		} else {
			s.Dropped++
		}
	}
	c, err := Correlate(x, confidence)
	if err != nil {
		s.CorrelationWhy = err.Error()
		return
	}
	s.Correlation = &c
}

func (s *Result) agreement(cells [][][]Row, subjects, conditions []string, confidence float64) {
	if len(conditions) != 2 {
		s.AgreementWhy = fmt.Sprintf("it compares two conditions, there are %d", len(conditions))
		return
	}
	s.A, s.B = conditions[0], conditions[1]
	var pairs []Pair
	for i, subject := range cells {
		n := min(len(subject[0]), len(subject[1]))
		s.Unpaired += len(subject[0]) + len(subject[1]) - 2*n
		for k := range n {
			a, b := subject[0][k], subject[1][k]
			s.Pairs = append(s.Pairs, RowPair{subjects[i], a, b})
			pairs = append(pairs, Pair{subjects[i], a.Value[s.Quantity], b.Value[s.Quantity]})
		}
	}
	g, err := Agree(pairs, confidence)
	if err != nil {
		s.AgreementWhy = err.Error()
		return
	}
	s.Agreement, s.AgreementWhy = &g, g.Why
}
