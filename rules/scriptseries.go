package rules

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

// series is the values of one quantity, a value a step; NaN: unknown.
type series struct {
	runs []run
}

// run is values from one to another over a number of steps.
type run struct {
	from, to float64
	n        int
}

// at gives the value at a step.
func (s *series) at(step int) float64 {
	for _, r := range s.runs {
		if step < r.n {
			if r.n == 1 {
				return r.from
			}
			return r.from + (r.to-r.from)*float64(step)/float64(r.n-1)
		}
		step -= r.n
	}
	return s.runs[len(s.runs)-1].to
}

// series reads the compact notation. Words are states or yes and no, `_` is unknown; a
// group in parentheses is repeated as a whole: `(strokingx3, holdingx7)x60`.
func (r *reader) series(name string, n *yaml.Node) *series {
	s := &series{}
	for rest := n.Value; rest != ""; {
		var part string
		if inside, after, ok := strings.Cut(strings.TrimSpace(rest), ")"); ok && strings.HasPrefix(inside, "(") {
			part, rest, _ = strings.Cut(after, ",")
			_, k := r.times(n, strings.TrimSpace(part))
			one := &series{}
			for _, item := range strings.Split(inside[1:], ",") {
				one.runs = append(one.runs, r.run(name, n, item))
			}
			for range k {
				s.runs = append(s.runs, one.runs...)
			}
			continue
		}
		part, rest, _ = strings.Cut(rest, ",")
		s.runs = append(s.runs, r.run(name, n, part))
	}
	if len(s.runs) == 0 {
		r.fault(n.Line, n.Column, "%s has no values", name)
		s.runs = []run{{n: 1}}
	}
	return s
}

// times cuts a number of repetitions off.
func (r *reader) times(n *yaml.Node, part string) (string, int) {
	what, times, repeated := strings.Cut(part, "x")
	if !repeated {
		return part, 1
	}
	k, err := strconv.Atoi(times)
	if err != nil || k < 1 || k > 1e6 {
		r.fault(n.Line, n.Column, "%q: write repetitions like 900x60", part)
		k = 1
	}
	return what, k
}

func (r *reader) run(name string, n *yaml.Node, part string) run {
	part = strings.TrimSpace(part)
	values, k := r.times(n, part)
	from, to, ramp := strings.Cut(values, "..")
	if !ramp {
		to = from
	}
	one := run{n: k}
	var err error
	if one.from, err = scriptValue(name, from); err == nil {
		one.to, err = scriptValue(name, to)
	}
	if err != nil {
		r.fault(n.Line, n.Column, "%q: %v", part, err)
	}
	return one
}

func scriptValue(name, word string) (float64, error) {
	if word == "_" {
		return math.NaN(), nil
	}
	if name == "state" {
		for s := range station.NumStates {
			if s.String() == word {
				return float64(s), nil
			}
		}
		return 0, fmt.Errorf("%q is no state", word)
	}
	switch word {
	case "yes":
		return 1, nil
	case "no":
		return 0, nil
	}
	x, err := strconv.ParseFloat(word, 64)
	if err != nil {
		return 0, fmt.Errorf("%q is no number, yes, no or _", word)
	}
	return x, nil
}
