package topic

import (
	"strings"
	"testing"

	"strokewise/deploy/hostile"
)

// A hostile name in a topic stays in its level: it is that field, or the topic does not match. No name of a
// station changes what is subscribed to.
func TestHostileNamesStayInTheirLevel(t *testing.T) {
	p, err := Compile("boost/{site}/{station}/{channel}")
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range hostile.Texts {
		if f, ok := p.Match("boost/northdock/" + text + "/inlet_pressure"); ok && (f != Fields{"northdock", text, "inlet_pressure"}) {
			t.Errorf("%s: %+v", name, f)
		} else if ok && (text == "" || strings.Contains(text, "/")) {
			t.Errorf("%s matches", name)
		}
		q, err := Compile("boost/" + text + "/{station}")
		if err != nil {
			continue
		}
		if want := "boost/" + text + "/+"; q.Filter() != want || strings.ContainsAny(text, "+#\x00{}") {
			t.Errorf("%s: a pattern with it subscribes to %q", name, q.Filter())
		}
	}
}
