package accuracy

import (
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"
)

// MistakeRow is what came of a mistake on several stations.
type MistakeRow struct {
	Mistake string // "": sound stations
	N       int
	Named   int // rightly, within the hour: alone, or among those that cannot be told apart
	Alone   int // of these, at some time alone
	Wrong   int // something else was named, and it never was
	Vague   int // something was found, and nothing named
	Silent  int
	First   int     // something else was named before it
	Minutes float64 // median until it was named
}

// SumMistakes sums up by mistake, in the order of the table, sound stations last.
func SumMistakes(all []Judged) []MistakeRow {
	var rows []MistakeRow
	for i := range len(mistakes) + 1 {
		r := MistakeRow{}
		if i < len(mistakes) {
			r.Mistake = mistakes[i].name
		}
		var minutes []float64
		for k := range all {
			j := &all[k]
			if j.Mistake != r.Mistake {
				continue
			}
			r.N++
			switch {
			case j.Named > 0:
				r.Named++
				r.Alone += one(j.Alone)
				r.First += one(j.Wrong > 0 && j.Wrong < j.Named)
				minutes = append(minutes, j.Named/60)
			case j.Wrong > 0:
				r.Wrong++
			case j.Vague:
				r.Vague++
			default:
				r.Silent++
			}
		}
		if r.Minutes = quantile(minutes, 0.5); r.N > 0 {
			rows = append(rows, r)
		}
	}
	return rows
}

// namedKinds returns of how many kinds more than half are named rightly, and how many kinds there are.
func namedKinds(rows []MistakeRow) (named, kinds int) {
	for i := range rows {
		if r := &rows[i]; r.Mistake != "" {
			kinds++
			named += one(2*r.Named > r.N)
		}
	}
	return named, kinds
}

// MistakesText returns the rows of stations of a set for people.
func MistakesText(set string, rows []MistakeRow) string {
	var b strings.Builder
	named, kinds := namedKinds(rows)
	fmt.Fprintf(&b, "mistakes in plate data and sensors, an hour of work each on sound stations of set %q, every other one vented at first:\n"+
		"%d of %d kinds are named rightly on more than half of the stations.\n"+
		"named: the mistake is told, alone or among at most four that the traces cannot tell apart; wrong: others are, it is not; vague: something\n"+
		"is told that names nothing; silent: nothing is told; misled: others were told first; minutes: from the start, median; what breaks at work sets in at minute 10.\n\n", set, named, kinds)
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "\tn\tnamed\talone\twrong\tvague\tsilent\tmisled\tminutes\t")
	for i := range rows {
		r := &rows[i]
		name := r.Mistake
		if name == "" {
			name = "none: a sound station"
		}
		fmt.Fprintf(w, "%s\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t%.0f\t\n", name, r.N, r.Named, r.Alone, r.Wrong, r.Vague, r.Silent, r.First, r.Minutes)
	}
	w.Flush()
	return b.String()
}

// MistakeDrops returns what is worse than in stored rows, a line each.
func MistakeDrops(now, stored []MistakeRow) (out []string) {
	for i := range stored {
		was := &stored[i]
		k := slices.IndexFunc(now, func(r MistakeRow) bool { return r.Mistake == was.Mistake })
		switch {
		case k < 0 || now[k].N != was.N:
			out = append(out, was.Mistake+": the cases have changed")
		case now[k].Named < was.Named:
			out = append(out, fmt.Sprintf("%s: named %d of %d, stored %d", was.Mistake, now[k].Named, was.N, was.Named))
		case now[k].Wrong > was.Wrong || now[k].Vague > was.Vague && was.Mistake == "":
			out = append(out, fmt.Sprintf("%q: named wrongly %d of %d, stored %d", was.Mistake, now[k].Wrong, was.N, was.Wrong))
		}
	}
	return out
}
