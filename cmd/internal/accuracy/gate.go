package accuracy

import "fmt"

// Drops returns what is worse in a table than in a stored one, a line each. Counts decide, not
// medians: a drop is, in any row,
//
//   - a case less within its target,
//   - a case more that is told and wrong, or an alarm or leak more that is false,
//   - a case less of which the figure is told,
//   - a band more that misses the truth.
//
// Rows over other cases are no longer comparable, which is a line too.
func Drops(now, stored *Table) []string {
	if now.Set != stored.Set || now.Stations != stored.Stations {
		return []string{fmt.Sprintf("the stored table is of %d stations of set %q, this one of %d of set %q", stored.Stations, stored.Set, now.Stations, now.Set)}
	}
	rows := map[key]*Row{}
	for i := range now.Rows {
		rows[now.Rows[i].key()] = &now.Rows[i]
	}
	var out []string
	for i := range stored.Rows {
		was := &stored.Rows[i]
		is := rows[was.key()]
		delete(rows, was.key())
		if is == nil || is.N != was.N {
			out = append(out, was.String()+": the cases have changed")
			continue
		}
		out = append(out, is.drops(was)...)
	}
	for i := range now.Rows {
		if r := &now.Rows[i]; rows[r.key()] != nil {
			out = append(out, r.String()+": has no stored row")
		}
	}
	return out
}

// drops returns what is worse than in the stored row.
func (r *Row) drops(was *Row) (out []string) {
	worse := func(what string, now, then int) {
		out = append(out, fmt.Sprintf("%s: %s %d of %d, stored %d", r, what, now, r.N, then))
	}
	if r.Within < was.Within {
		worse("within target", r.Within, was.Within)
	}
	if r.Wrong > was.Wrong {
		worse("told and wrong", r.Wrong, was.Wrong)
	}
	if r.Told < was.Told {
		worse("told", r.Told, was.Told)
	}
	if r.Bands-r.Held > was.Bands-was.Held {
		worse("bands that miss the truth", r.Bands-r.Held, was.Bands-was.Held)
	}
	return out
}

// String names the row: figure, kind, and whether the counter was there.
func (r *Row) String() string {
	where := r.Group
	if r.Kind != "" {
		where += " " + r.Kind
	}
	if r.Counter {
		return fmt.Sprintf("%s of %s with the counter", r.Figure, where)
	}
	return fmt.Sprintf("%s of %s without the counter", r.Figure, where)
}
