package accuracy

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
)

// Table is the outcomes of many cases, summed up.
type Table struct {
	Set      string // of the drawn stations, "" without
	Stations int    // drawn
	Rows     []Row
}

// Row is a figure over the cases of a kind.
type Row struct {
	Group   string
	Kind    string `json:",omitempty"` // "": all of the group
	Counter bool
	Figure  string

	N, Told, Within, Wrong int
	Bands, Held            int     `json:",omitempty"`
	Median, P90            float64 `json:",omitempty"` // of the size of the error, where told
}

// key is what identifies a row.
type key struct {
	group, kind string
	counter     bool
	figure      string
}

func (r *Row) key() key { return key{r.Group, r.Kind, r.Counter, r.Figure} }

// Sum sums up outcomes: by group, and with kinds also by the kinds of the drawn stations.
func Sum(outcomes []Outcome, kinds bool) []Row {
	type part struct {
		group, kind string
		counter     bool
	}
	parts := map[part][]*Scores{}
	var order []part
	add := func(p part, s *Scores) {
		if parts[p] == nil {
			order = append(order, p)
		}
		parts[p] = append(parts[p], s)
	}
	for i := range outcomes {
		o := &outcomes[i]
		add(part{o.Group, "", o.Counter}, &o.Scores)
		if kinds && o.Kind != "" {
			add(part{o.Group, o.Kind, o.Counter}, &o.Scores)
		}
	}
	slices.SortFunc(order, func(a, b part) int {
		return cmp.Or(cmp.Compare(a.group, b.group), cmp.Compare(a.kind, b.kind), -compareBool(a.counter, b.counter))
	})
	var rows []Row
	for _, p := range order {
		for f := range NumFigures {
			if r := sumFigure(f, parts[p]); r.N > 0 {
				r.Group, r.Kind, r.Counter = p.group, p.kind, p.counter
				rows = append(rows, r)
			}
		}
	}
	return rows
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}

// sumFigure sums up one figure.
func sumFigure(f Figure, all []*Scores) Row {
	r := Row{Figure: f.String()}
	var errs []float64
	for _, s := range all {
		x := &s[f]
		switch {
		case !x.Applies:
			continue
		case f.counts():
			r.N, r.Told, r.Within, r.Wrong = r.N+x.N, r.Told+x.N, r.Within+x.Good, r.Wrong+x.Bad
			continue
		}
		r.N += 1
		r.Told += one(x.Told)
		r.Within += one(x.Within)
		r.Wrong += one(x.Wrong)
		r.Bands += one(x.Band)
		r.Held += one(x.Held)
		if x.Told {
			errs = append(errs, math.Abs(x.Err))
		}
	}
	r.Median, r.P90 = quantile(errs, 0.5), quantile(errs, 0.9)
	return r
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}

// quantile returns the smallest value that a share q of the values does not exceed, to two places; 0 of none.
func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return math.Round(100*v[int(math.Ceil(q*float64(len(v))))-1]) / 100
}

// ReadTable reads a table that Write wrote.
func ReadTable(path string) (*Table, error) {
	b, err := os.ReadFile(path)
	t := new(Table)
	if err == nil {
		err = json.Unmarshal(b, t)
	}
	if err != nil {
		return nil, fmt.Errorf("cannot read accuracy table: %w", err)
	}
	return t, nil
}

// Write writes the table as JSON, a row a line, so that a change shows as the rows that changed.
func (t *Table) Write(path string) error {
	out := []byte(fmt.Sprintf("{\"Set\":%q,\"Stations\":%d,\"Rows\":[", t.Set, t.Stations))
	for i := range t.Rows {
		b, err := json.Marshal(&t.Rows[i])
		if err != nil {
			return fmt.Errorf("cannot write accuracy table: %w", err)
		}
		if i > 0 {
			out = append(out, ',')
		}
		out = append(append(out, '\n'), b...)
	}
	out = append(out, "\n]}\n"...)
	if err := os.WriteFile(path, out, 0o644); err != nil {
		return fmt.Errorf("cannot write accuracy table: %w", err)
	}
	return nil
}
