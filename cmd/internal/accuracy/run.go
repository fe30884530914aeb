package accuracy

import (
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
)

// Outcome is how one case came out, with or without its counter.
type Outcome struct {
	Group, Kind, Name string
	Counter           bool
	Scores            Scores
	Raised            []string // alarms, in order of time
}

// Run plays cases, several at a time, and returns their outcomes in the order of the cases, with the
// counter before without. It does not depend on how many run at a time. progress, unless nil, is
// called after each case, by several goroutines.
func Run(cases []Case, workers int, progress func(done int)) ([]Outcome, error) {
	outcomes, errs := make([][]Outcome, len(cases)), make([]error, len(cases))
	var next, done atomic.Int64
	var group sync.WaitGroup
	for range min(workers, len(cases)) {
		group.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(cases); i = int(next.Add(1)) - 1 {
				outcomes[i], errs[i] = runOne(&cases[i])
				if n := done.Add(1); progress != nil {
					progress(int(n))
				}
			}
		})
	}
	group.Wait()
	for i, err := range errs {
		if err != nil {
			return nil, fmt.Errorf("cannot play %s %s: %w", cases[i].Group, cases[i].Name, err)
		}
	}
	return slices.Concat(outcomes...), nil
}

// runOne plays a case and compares.
func runOne(c *Case) ([]Outcome, error) {
	with, without, truth, err := play(c)
	if err != nil {
		return nil, err
	}
	var out []Outcome
	for _, t := range []*told{with, without} {
		if t == nil {
			continue
		}
		o := Outcome{Group: c.Group, Kind: c.Kind, Name: c.Name, Counter: t == with, Scores: compare(t, &truth, t == with)}
		for _, r := range t.raised {
			o.Raised = append(o.Raised, r.alarm)
		}
		out = append(out, o)
	}
	return out, nil
}
