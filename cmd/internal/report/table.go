package report

import (
	"fmt"
	"io"
	"sort"
	"strconv"
	"strings"
	"text/tabwriter"
)

// Table writes the report for people: totals with units and bands, estimates with
// method or reason, minutes, and alarms if the report has any.
func (r *Report) Table(w io.Writer) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "%s/%s\t%s to %s\n\n", r.Site, r.Station, r.From, r.To)
	r.leftOutRows(t)
	r.totalRows(t)
	fmt.Fprintln(t)
	r.estimateRows(t)
	fmt.Fprintln(t)
	r.minuteRows(t)
	r.alarmRows(t)
	if err := t.Flush(); err != nil {
		return err
	}
	r.explainRows(w)
	return nil
}

func (r *Report) totalRows(t io.Writer) {
	o := &r.Totals
	strokes := "unknown: " + o.Reason["strokes"]
	if o.Strokes != nil {
		strokes = fmt.Sprintf("%d (%.1f cycles)", *o.Strokes, *o.Cycles) + rest(o.StrokesOf, o.Reason["strokes_known_minutes"])
	}
	duty := "unknown: " + o.Reason["duty"]
	if o.Duty != nil {
		duty = fmt.Sprintf("%.1f %%", *o.Duty*100)
		if b := o.DutyBand; b != nil {
			duty += fmt.Sprintf(" (90 %%: %.1f to %.1f)", b[0]*100, b[1]*100)
		}
	}
	fmt.Fprintf(t, "strokes\t%s\nduty\t%s\n", strokes, duty)
	fmt.Fprintf(t, "time\tcharging %.1f s, stroking %.1f s, holding %.1f s, starved %.1f s\n", o.Charging, o.Stroking, o.Holding, o.Starved)
	fmt.Fprintf(t, "\toff %.1f s, venting %.1f s, residual %.1f s, blind %.1f s\n", o.Off, o.Venting, o.Residual, o.Blind)
	if o.Inlet == nil {
		fmt.Fprintf(t, "air\tunknown: %s\n", o.Reason["air"])
		return
	}
	fmt.Fprintf(t, "inlet air\t%.1f L %s (90 %%: %.1f to %.1f)%s\n", *o.Inlet, r.Reference, o.InletBand[0], o.InletBand[1], rest(o.AirOf, o.Reason["air_known_minutes"]))
	fmt.Fprintf(t, "exhaust air\t%.1f L %s\n", *o.Exhaust, r.Reference)
	fmt.Fprintf(t, "delivered air\t%.1f L %s (90 %%: %.1f to %.1f)\n", *o.Delivered, r.Reference, o.DeliveredBand[0], o.DeliveredBand[1])
}

// rest returns what a sum of some of the minutes is followed by.
func rest(of [2]int, why string) string {
	if text := partly(of); text != "" {
		return ", " + text + "; the others: " + why
	}
	return ""
}

func (r *Report) estimateRows(t io.Writer) {
	names := make([]string, 0, len(r.Estimates))
	for n := range r.Estimates {
		names = append(names, n)
	}
	sort.Strings(names)
	for _, n := range names {
		e := r.Estimates[n]
		name, factor := r.reads(n)
		if e.Value == nil {
			fmt.Fprintf(t, "%s\tunknown: %s\n", name, e.Reason)
			continue
		}
		value := fmt.Sprintf("%.4g", *e.Value*factor)
		if e.OverRoot != nil {
			value = fmt.Sprintf("C/sqrt(1-b) %.4g, that is C %.4g for b = %.1f", *e.OverRoot, *e.Value, *e.B)
		}
		fmt.Fprintf(t, "%s\t%s  (%s, confidence %.1f)\n", name, value, e.Method, *e.Confidence)
	}
	if r.contradiction != "" {
		fmt.Fprintf(t, "plate contradicts\t%s\n", r.contradiction)
	}
}

// reads returns the key of a figure as the table has it, in the unit in which people of the site read
// pressures, and the factor to it.
func (r *Report) reads(key string) (string, float64) {
	name, ok := strings.CutSuffix(key, "_kpa")
	if !ok {
		return key, 1
	}
	return name + "_" + strings.ToLower(r.read.String()), 1e3 * r.read.Scale()
}

// pressure returns a cell of a pressure, kPa, in the table's unit.
func (r *Report) pressure(kPa *float64) string {
	if kPa == nil {
		return "-"
	}
	return strconv.FormatFloat(1e3**kPa*r.read.Scale(), 'f', r.read.Decimals()+1, 64)
}

func (r *Report) minuteRows(t io.Writer) {
	for _, g := range r.Gaps {
		fmt.Fprintf(t, "no samples\tfrom %s to %s, %d min\n", g.From, g.To, g.Minutes)
	}
	fmt.Fprintf(t, "minute\tstrokes\tduty\tinlet L\tdelivered L\tholding s\tstarved s\tinlet %s gauge\toutlet %s gauge\tleak L/min\n", r.read, r.read)
	for i := range r.Minutes {
		m := &r.Minutes[i]
		strokes := "unknown"
		if m.Strokes != nil {
			strokes = fmt.Sprint(*m.Strokes)
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%.1f\t%.1f\t%s\t%s\t%s\n", m.Minute, strokes, cell(m.Duty, "%.3f"),
			cell(m.Inlet, "%.1f"), cell(m.Delivered, "%.1f"), m.Holding, m.Starved,
			r.pressure(m.InletKPa), r.pressure(m.OutletKPa), cell(m.Leak, "%.2f"))
	}
}

func (r *Report) alarmRows(t io.Writer) {
	if r.Alarms == nil {
		return
	}
	fmt.Fprintln(t, "\nalarm\tpriority\traised\tcleared\tmessage")
	for i := range r.Alarms {
		a := &r.Alarms[i]
		cleared := "still present"
		if a.Cleared != nil {
			cleared = *a.Cleared
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s %s\n", a.Alarm, a.Priority, a.Raised, cleared, a.Message, a.Caution)
	}
}

func cell(x *float64, format string) string {
	if x == nil {
		return "-"
	}
	return fmt.Sprintf(format, *x)
}
