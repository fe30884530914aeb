package scene

import (
	"strings"
	"testing"
)

// pending are the scenes that do not yet come as they must, with the topic that they wait for. One
// that does is to be taken off the list.
var pending = map[string]string{}

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
