package accuracy

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"text/tabwriter"
)

// Drawn is the group of the stations drawn at random.
const Drawn = "drawn"

// groups say what each group of cases is.
var groups = map[string]string{
	Drawn:    "stations drawn at random from collector/rig",
	"first":  "recordings of the first independent model",
	"second": "recordings of the second independent model",
}

// Text returns the table for people, beside another one where before is not nil.
func (t *Table) Text(before *Table) string {
	var b strings.Builder
	t.head(&b, before)
	old := map[key]*Row{}
	if before != nil {
		for i := range before.Rows {
			old[before.Rows[i].key()] = &before.Rows[i]
		}
	}
	for rest := t.Rows; len(rest) > 0; {
		n := 1
		for n < len(rest) && rest[n].Group == rest[0].Group && rest[n].Kind == rest[0].Kind && rest[n].Counter == rest[0].Counter {
			n++
		}
		section(&b, rest[:n], old, before != nil)
		rest = rest[n:]
	}
	return b.String()
}

// head states what is compared and how.
func (t *Table) head(b *strings.Builder, before *Table) {
	b.WriteString("Accuracy of the analyzer against truth. Written by `make accuracy`; do not edit.\n\n")
	if t.Stations > 0 {
		fmt.Fprintf(b, "Set %s, %d drawn stations, and the recordings in collector/trace/testdata/recordings.\n\n", t.Set, t.Stations)
	}
	b.WriteString("n         cases of which the truth is known, all of them in every share but band's\n" +
		"told      share of which the analyzer states the figure (for at least half of the time)\n" +
		"median    of the size of the error, where told; p90: its 90th percentile\n" +
		"within    share told and within the target; what is unknown is not within\n" +
		"wrong     share told and off by more than 10 % or 10 points; for alarms and leaks their number\n" +
		"band      share of the stated 90 % bands that hold the truth; that of a volume of air is the sum of its minutes' bands\n")
	if before != nil {
		b.WriteString("Behind the bar: the same of the release before.\n")
	}
	b.WriteString("\n")
	w := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	for _, f := range figures {
		fmt.Fprintf(w, "%s\t%s\n", f.name, f.what)
	}
	w.Flush()
}

// nameWidth is the width of the column of figures.
const nameWidth = 22

// section writes the rows of one kind.
func section(b *strings.Builder, rows []Row, old map[key]*Row, beside bool) {
	r := &rows[0]
	fmt.Fprintf(b, "\n%s", groups[r.Group])
	if r.Kind != "" {
		fmt.Fprintf(b, ", kind %s", r.Kind)
	}
	fmt.Fprintf(b, ", %s\n\n", map[bool]string{true: "with the counter", false: "from the traces alone"}[r.Counter])
	var text bytes.Buffer
	w := tabwriter.NewWriter(&text, 0, 0, 2, ' ', tabwriter.AlignRight)
	head := "n\ttold\tmedian\tp90\twithin\twrong\tband\t"
	fmt.Fprintf(w, "%-*s\t%s", nameWidth, "", head)
	if beside {
		fmt.Fprint(w, "|\t"+head)
	}
	fmt.Fprintln(w)
	for i := range rows {
		r := &rows[i]
		fmt.Fprintf(w, "%-*s\t%s", nameWidth, strings.TrimSpace(r.Figure+" "+r.unit()), r.cells())
		if beside {
			fmt.Fprintf(w, "|\t%s", old[r.key()].cells())
		}
		fmt.Fprintln(w)
	}
	w.Flush()
	for line := range strings.Lines(text.String()) {
		b.WriteString(strings.TrimRight(line, " \n") + "\n")
	}
}

// unit returns the unit of the row's errors.
func (r *Row) unit() string {
	for i := range figures {
		if figures[i].name == r.Figure {
			return figures[i].unit
		}
	}
	return ""
}

// cells returns a row's numbers.
func (r *Row) cells() string {
	if r == nil {
		return strings.Repeat("-\t", 7)
	}
	if r.unit() == "" { // counts
		return fmt.Sprintf("%d\t\t\t\t%s\t%d\t\t", r.N, share(r.Within, r.N), r.Wrong)
	}
	median, p90 := "-", "-"
	if r.Told > 0 {
		median, p90 = fmt.Sprintf("%.1f", r.Median), fmt.Sprintf("%.1f", r.P90)
	}
	return fmt.Sprintf("%d\t%s\t%s\t%s\t%s\t%s\t%s\t", r.N, share(r.Told, r.N), median, p90, share(r.Within, r.N), share(r.Wrong, r.N), share(r.Held, r.Bands))
}

// share returns a share in per cent, "-" of none. All and none are exact.
func share(part, of int) string {
	switch p := math.Round(100 * float64(part) / float64(max(of, 1))); {
	case of == 0:
		return "-"
	case p == 0 && part > 0:
		return "<1 %"
	case p == 100 && part < of:
		return ">99 %"
	default:
		return fmt.Sprintf("%.0f %%", p)
	}
}
