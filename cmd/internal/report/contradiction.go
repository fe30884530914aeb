package report

import "strokewise/analyzer/station"

// Blame is what may be wrong where plate data, counter and readings contradict each other. The values are SI: Pa gauge, m, m³, or
// strokes of a count.
type Blame struct {
	Suspect string   `json:"suspect"`
	Key     string   `json:"key"` // of the configuration, or the channel
	Given   *float64 `json:"given,omitempty"`
	Seen    *float64 `json:"seen,omitempty"` // what the traces ask for instead
	Ratio   *float64 `json:"given_over_seen,omitempty"`
}

// blames returns the blames of a contradiction, the likeliest first.
func blames(c *station.Contradiction) (out []Blame) {
	some := func(x float64) *float64 {
		if x == 0 {
			return nil
		}
		return &x
	}
	for i := range c.N {
		b := &c.Blames[i]
		out = append(out, Blame{Suspect: b.Is.String(), Key: b.Key(), Given: some(b.Given), Seen: some(b.Seen), Ratio: some(b.Ratio)})
	}
	return out
}
