package rules

import (
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// A limit that is raised above the reading ends the alarm, and the reason is the configuration;
// a reading that ends it has the alarm's own words.
func TestAChangedLimitIsTheReason(t *testing.T) {
	for _, configured := range []bool{true, false} {
		plate := &station.Plate{TankPS: 900e3}
		g := newStage(station.Plate{})
		g.v = NewEvaluator(plate, func(t *Transition) { g.got = append(g.got, *t) })
		g.play(10, func(_ int, s *station.Status) { s.Outlet = known(950e3) })
		g.v.Changed() // nothing has changed
		if len(g.got) != 1 || g.got[0].Alarm != OverPressure {
			t.Fatalf("%+v", g.got)
		}
		if configured {
			plate.TankPS = 1100e3
			g.v.Changed()
		} else {
			g.play(1, func(_ int, s *station.Status) { s.Outlet = known(800e3) })
		}
		if last := g.got[len(g.got)-1]; last.To != ReturnedUnacknowledged || last.ByConfiguration() != configured || strings.Contains(last.Message, "The configuration was changed") != configured {
			t.Errorf("configured %v: %+v", configured, last)
		}
	}
}

// A calendar that is changed while a station is left charged ends the alarm, and says that the
// pressure is what it was.
func TestAChangedCalendarIsTheReason(t *testing.T) {
	text := func(from, to int) string {
		c := station.Calendar{Zone: "UTC", Shifts: []station.Shift{{Days: [7]bool{true, true, true, true, true, true, true}, From: from, To: to}}, Grace: 30}
		return c.Text()
	}
	plate := &station.Plate{Calendar: text(12*60, 22*60)}
	g := newStage(station.Plate{})
	g.v = NewEvaluator(plate, func(t *Transition) { g.got = append(g.got, *t) })
	g.play(10, func(_ int, s *station.Status) {
		s.State, s.Inlet, s.Outlet = station.Holding, known(600e3), known(880e3)
	})
	if len(g.got) != 1 || g.got[0].Alarm != PressureLeft {
		t.Fatalf("%+v", g.got)
	}
	plate.Calendar = text(0, 22*60)
	g.v.Changed()
	if last := g.got[len(g.got)-1]; last.To != ReturnedUnacknowledged || !last.ByConfiguration() || !strings.Contains(last.Message, "The pressure has not changed") {
		t.Errorf("%+v", last)
	}
}
