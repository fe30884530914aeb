package notify

import (
	"strconv"

	"strokewise/rules"
)

// evidence gives what is behind a transition, a text each.
func evidence(t *rules.Transition) []string {
	out := make([]string, 0, len(t.Evidence))
	for _, e := range t.Evidence {
		value := e.Text
		if value == "" {
			value = strconv.FormatFloat(e.Value, 'g', 4, 64)
			if e.Unit != "" {
				value += " " + e.Unit
			}
		}
		out = append(out, e.Name+": "+value)
	}
	return out
}
