package config

import "strings"

// nearest finds the known name that a misspelt one most likely means, "" if none is
// near: it is the start of one, or a third of its letters away at most.
func nearest(name string, known []string) string {
	const longest = 64
	if name == "" || len(name) > longest {
		return ""
	}
	plain := strings.ToLower(strings.ReplaceAll(name, "-", "_"))
	best, least := "", len(name)/3+1
	for _, k := range known {
		if strings.HasPrefix(k, plain+"_") || strings.HasSuffix(k, "_"+plain) {
			return k
		}
		if d := distance(plain, k); d < least {
			best, least = k, d
		}
	}
	return best
}

// distance counts the single-letter insertions, removals, changes and swaps of
// neighbours that lead from a to b (optimal string alignment).
func distance(a, b string) int {
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for k := range last {
		last[k] = k
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for k := 1; k <= len(b); k++ {
			cost := 1
			if a[i-1] == b[k-1] {
				cost = 0
			}
			row[k] = min(last[k]+1, row[k-1]+1, last[k-1]+cost)
			if i > 1 && k > 1 && a[i-1] == b[k-2] && a[i-2] == b[k-1] {
				row[k] = min(row[k], before[k-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}
