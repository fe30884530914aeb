package report

import (
	"fmt"
	"io"

	"strokewise/analyzer/engine"
)

// LeftOut is what of the readings was left out, over the whole input whatever span is printed.
type LeftOut struct {
	Late       int64  `json:"late"`       // further behind newer ones than the station's lateness
	Duplicates int64  `json:"duplicates"` // of a channel and time that was there already
	ClockSteps int64  `json:"clock_steps"`
	FirstLate  string `json:"first_late,omitempty"` // file and line
}

func leftOut(n engine.Counts) LeftOut {
	return LeftOut{Late: n.Late, Duplicates: n.Duplicate, ClockSteps: n.ClockSteps}
}

// leftOutRows states what was left out and what to do, nothing where nothing was.
func (r *Report) leftOutRows(t io.Writer) {
	in := &r.LeftOut
	if in.Late > 0 {
		where := ""
		if in.FirstLate != "" {
			where = ", the first at " + in.FirstLate
		}
		fmt.Fprintf(t, "late\t%d readings were further behind newer ones than the station's lateness and were left out%s;\n", in.Late, where)
		fmt.Fprintln(t, "\tsort the rows by time or raise lateness in the configuration; where the clock was set back, cut the trace in two")
	}
	if in.Duplicates > 0 {
		fmt.Fprintf(t, "duplicates\t%d readings were of a channel and time that was there already; the first of each counts\n", in.Duplicates)
	}
	if in.ClockSteps > 0 {
		fmt.Fprintf(t, "clock\twas set back %d times; the analysis began anew there\n", in.ClockSteps)
	}
}
