package accuracy

import (
	"cmp"
	"fmt"
	"strings"
	"text/tabwriter"
)

// Each returns a line for each case, with the counter and without.
func Each(outcomes []Outcome) string {
	var b strings.Builder
	b.WriteString("Case by case: signed errors in per cent, of duty in points, of states in per cent of the fed time. \"?\" is not told,\n" +
		"\"-\" not compared, \".\" behind a figure beyond its target, \"!\" told and wrong by more than 10.\n\n")
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprint(w, "case\tcounter\t")
	for f := range FalseLeaks {
		fmt.Fprintf(w, "%s\t", f)
	}
	fmt.Fprintln(w, "false leak\tdue in time\tfalse serious\ttraps\traised")
	for i := range outcomes {
		o := &outcomes[i]
		fmt.Fprintf(w, "%s\t%s\t", o.name(), map[bool]string{true: "yes", false: "no"}[o.Counter])
		for f := range FalseLeaks {
			fmt.Fprintf(w, "%s\t", o.Scores[f].cell())
		}
		for f := FalseLeaks; f < NumFigures; f++ {
			fmt.Fprintf(w, "%s\t", o.Scores[f].count(f))
		}
		fmt.Fprintln(w, cmp.Or(strings.Join(o.Raised, " "), "-"))
	}
	w.Flush()
	return b.String()
}

func (o *Outcome) name() string {
	if o.Kind != "" {
		return o.Group + "/" + o.Kind + "/" + o.Name
	}
	return o.Group + "/" + o.Name
}

// cell returns an error for people.
func (s *Score) cell() string {
	switch {
	case !s.Applies:
		return "-"
	case !s.Told:
		return "?"
	case s.Wrong:
		return fmt.Sprintf("%+.1f!", s.Err)
	case !s.Within:
		return fmt.Sprintf("%+.1f.", s.Err)
	}
	return fmt.Sprintf("%+.1f", s.Err)
}

// count returns counted alarms for people.
func (s *Score) count(f Figure) string {
	switch {
	case !s.Applies:
		return "-"
	case f == DueAlarms:
		return fmt.Sprintf("%d of %d", s.Good, s.N)
	}
	return fmt.Sprint(s.Bad)
}
