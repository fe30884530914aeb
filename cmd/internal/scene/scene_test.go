package scene

import (
	"strings"
	"testing"
)

// pending are the scenes that do not yet come as they must, with the topic that they wait for. One
// that does is to be taken off the list.
var pending = map[string]string{
	"opened after vented, valve signal": "at work, stored pressure",
	"opened after vented":               "at work, stored pressure",
	"opened at work":                    "at work, stored pressure",
	"opening signal at work":            "at work, stored pressure",
	"declared time over":                "at work, stored pressure",
	"opened after work ended":           "at work, stored pressure",
	"opened after the shift":            "at work, stored pressure",
	"opened as usual, 5 Hz":             "at work, stored pressure",
	"gauge line bled down":              "at work, stored pressure",
	"burst hose, 3.8 mm":                "states, falls",
	"burst hose, 7 mm":                  "states, falls",
	"burst hose, idle":                  "states, falls",
	"dump valve stuck":                  "states, falls",
	"below 85 % of set":                 "states, falls",
	"jammed piston, 4:1":                "states, falls",
	"jammed piston, 1 Hz":               "states, falls",
	"header lowered, strokes go on":     "states, falls",
	"header low, never stands":          "states, falls",
	"leak under demand":                 "states, falls",
	"governor and relief valve stuck":   "too high, cost",
	"governor set up":                   "too high, cost",
	"above what the forces allow":       "too high, cost",
	"relief valve pops":                 "too high, cost",
	"relief valve simmers":              "too high, cost",
	"relief valve pops, nobody draws":   "too high, cost",
	"relief valve pops, jets":           "too high, cost",
	"leak with a price":                 "too high, cost",
	"charged and silent":                "at work, stored pressure",
	"restart, publisher off":            "life of alarms",
	"takeover, publisher off":           "life of alarms",
	"renamed with an open alarm":        "life of alarms",
	"removed with an open alarm":        "life of alarms",
	"overtime":                          "life of alarms",
	"wrong unit, then shut down":        "outcomes of words",
	"words refused":                     "outcomes of words",
	"falls after the raise":             "outcomes of words",
}

// Every scene comes as it must: what its event asks for is raised, in time, with its priority and its
// words, and nothing that is false.
func TestScenes(t *testing.T) {
	names := map[string]bool{}
	for _, s := range All() {
		if names[s.Name] {
			t.Errorf("two scenes are named %q", s.Name)
		}
		names[s.Name] = true
		t.Run(s.Name, func(t *testing.T) {
			t.Parallel()
			wrong := s.Judge(s.Play())
			why, waits := pending[s.Name]
			switch {
			case len(wrong) > 0 && waits:
				t.Logf("pending (%s):\n%s", why, strings.Join(wrong, "\n"))
			case len(wrong) > 0:
				t.Error(strings.Join(wrong, "\n"))
			case waits:
				t.Errorf("no longer pending (%s): take it off the list", why)
			}
		})
	}
	for name := range pending {
		if !names[name] {
			t.Errorf("there is no scene %q, and it is pending", name)
		}
	}
}
