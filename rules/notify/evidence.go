package notify

import "strokewise/rules"

// evidence returns what is behind a transition, a text each, without what its message holds already.
func evidence(t *rules.Transition) []string {
	out := make([]string, 0, len(t.Evidence))
	for i := range t.Evidence {
		if e := &t.Evidence[i]; !e.Progress() {
			out = append(out, e.String())
		}
	}
	return out
}
