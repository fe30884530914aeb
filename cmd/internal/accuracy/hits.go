package accuracy

import (
	"math"
	"slices"
)

// Hits returns the share of the true ends of strokes that have a told one near: within 15 % of the
// interval to the next true one, 50 ms at most, one sample at least. Each told end serves once.
func Hits(truth, found []float64, sample float64) float64 {
	found = slices.Sorted(slices.Values(found))
	n, k := 0, 0
	for i, at := range truth {
		gap := math.Inf(1)
		if i > 0 {
			gap = at - truth[i-1]
		}
		if i+1 < len(truth) {
			gap = math.Min(gap, truth[i+1]-at)
		}
		near := math.Max(math.Min(0.15*gap, 0.05), sample)
		for k < len(found) && found[k] < at-near {
			k++
		}
		if k < len(found) && found[k] <= at+near {
			n++
			k++
		}
	}
	return float64(n) / float64(len(truth))
}
