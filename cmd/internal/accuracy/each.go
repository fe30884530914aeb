package accuracy

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// Each writes a line for each case, with the counter and without: signed errors, "?" for what is not
// told, "-" for what is not compared, "!" behind what is told and wrong, "." behind what is beyond its
// target.
func Each(w io.Writer, outcomes []Outcome) error {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprint(tw, "case\tcounter\t")
	for f := range FalseLeaks {
		fmt.Fprintf(tw, "%s %s\t", f, figures[f].unit)
	}
	fmt.Fprintln(tw, "false leak\tdue in time\tfalse serious\ttraps\traised")
	for i := range outcomes {
		o := &outcomes[i]
		fmt.Fprintf(tw, "%s\t%s\t", o.name(), yes(o.Counter))
		for f := range FalseLeaks {
			fmt.Fprintf(tw, "%s\t", o.Scores[f].cell())
		}
		for _, f := range []Figure{FalseLeaks, DueAlarms, FalseAlarms, Traps} {
			fmt.Fprintf(tw, "%s\t", o.Scores[f].count(f))
		}
		fmt.Fprintln(tw, strings.Join(o.Raised, " "))
	}
	return tw.Flush()
}

func (o *Outcome) name() string {
	if o.Kind != "" {
		return o.Group + "/" + o.Kind + "/" + o.Name
	}
	return o.Group + "/" + o.Name
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
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
