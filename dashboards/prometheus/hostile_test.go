package prometheus

import (
	"strings"
	"testing"

	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/deploy/hostile"
	"strokewise/rules"
)

// A hostile name is the value of its label and nothing else: the exposition has the same families and as many
// series as with a harmless one.
func TestHostileTextsInLabels(t *testing.T) {
	series := func(text string) (map[string]int, int) {
		s := press()
		s.Plate.Key, s.Plate.Branch = station.Key{Site: text, Station: text}, text
		s.Plate.Header = text
		s.Alarms = []board.Alarm{{State: rules.Unacknowledged, Transition: rules.Transition{Alarm: text, Priority: rules.Medium}}}
		o := options()
		o.Board = board.New()
		o.Board.Put(s)
		o.Board.SetReady(true)
		p := expfmt.NewTextParser(model.UTF8Validation)
		families, err := p.TextToMetricFamilies(strings.NewReader(exposition(t, o)))
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		out, named := map[string]int{}, 0
		for name, f := range families {
			out[name] = len(f.Metric)
			for _, m := range f.Metric {
				for _, l := range m.Label {
					if l.GetName() == "station" && l.GetValue() == text {
						named++
					}
				}
			}
		}
		return out, named
	}
	want, named := series("press-4")
	for name, text := range hostile.Texts {
		if text = strings.ToValidUTF8(text, "\ufffd"); text == "" {
			continue // an empty label is none
		}
		got, n := series(text)
		if n != named || n == 0 {
			t.Errorf("%s: %d labels, want %d", name, n, named)
		}
		for family := range got {
			if _, ok := want[family]; !ok {
				t.Errorf("%s: family %q", name, family)
			}
		}
	}
}
