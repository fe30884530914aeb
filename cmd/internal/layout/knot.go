package layout

import (
	"go/types"
	"slices"
	"strings"
)

// calls lists which files name functions and methods of which others of their package.
func (p *loaded) calls() map[string][]string {
	out := map[string][]string{}
	for _, f := range p.files {
		out[p.fileOf(f.Pos())] = nil
	}
	for id, o := range p.info.Uses {
		fn, ok := o.(*types.Func)
		if !ok || fn.Pkg() != p.types || !fn.Pos().IsValid() {
			continue
		}
		from, to := p.fileOf(id.Pos()), p.fileOf(fn.Pos())
		if from != to && !slices.Contains(out[from], to) {
			out[from] = append(out[from], to)
		}
	}
	return out
}

// largestKnot returns how many files reach each other by calls, at most, and which.
func (p *loaded) largestKnot() (most int, where string) {
	for _, k := range knots(p.calls()) {
		if len(k) > most {
			most, where = len(k), p.path+": "+strings.Join(k, " ")
		}
	}
	return most, where
}

// knots returns the strongly connected components of a graph, each in order of names (Tarjan's algorithm).
func knots(edges map[string][]string) [][]string {
	var names []string
	for n := range edges {
		names = append(names, n)
	}
	slices.Sort(names)
	t := tarjan{edges: edges, index: map[string]int{}, low: map[string]int{}, on: map[string]bool{}}
	for _, n := range names {
		if _, seen := t.index[n]; !seen {
			t.visit(n)
		}
	}
	return t.found
}

// tarjan is a search in depth.
type tarjan struct {
	edges      map[string][]string
	index, low map[string]int
	on         map[string]bool
	stack      []string
	found      [][]string
}

func (t *tarjan) visit(n string) {
	t.index[n], t.low[n] = len(t.index), len(t.index)
	t.stack, t.on[n] = append(t.stack, n), true
	for _, m := range t.edges[n] {
		if _, seen := t.index[m]; !seen {
			t.visit(m)
			t.low[n] = min(t.low[n], t.low[m])
		} else if t.on[m] {
			t.low[n] = min(t.low[n], t.index[m])
		}
	}
	if t.low[n] != t.index[n] {
		return
	}
	at := slices.Index(t.stack, n)
	k := slices.Clone(t.stack[at:])
	t.stack = t.stack[:at]
	for _, m := range k {
		t.on[m] = false
	}
	slices.Sort(k)
	t.found = append(t.found, k)
}
