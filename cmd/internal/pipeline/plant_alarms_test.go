package pipeline_test

import (
	"bytes"
	"reflect"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/rules"
)

// Forty minutes of the demonstration's plant, where no sensor is broken: what is wrong with a
// station by its design is raised, once, and nothing else of the whole catalogue.
func TestAlarmsOfThePlant(t *testing.T) {
	t.Parallel()
	specs, err := rig.Plant(rigStart)
	if err != nil {
		t.Fatal(err)
	}
	byDesign := map[string]string{"clamp-2": rules.SupplyUndersized, "clamp-3": rules.OutletLeak,
		"bench-1": rules.PressureLeft, "bench-2": rules.SupplyUndersized}
	also := map[string]string{"clamp-2": rules.OutletLow} // its narrow line lets the outlet dip to 848 kPa, under 85 % of set
	for _, s := range specs {
		u, _ := play(s, 2400, func(*pipeline.Unit) {})
		want := byDesign[s.Plate.Key.Station]
		if want != "" && raised(u, want) != 1 {
			t.Errorf("%s: %s was raised %d times, want once", s.Plate.Key, want, raised(u, want))
		}
		for _, a := range u.Out.Transitions {
			if a.Alarm != want && a.Alarm != also[s.Plate.Key.Station] && !keptBack(&a) {
				t.Errorf("%s: %s %s: %s", s.Plate.Key, a.Alarm, a.To, a.Message)
			}
		}
	}
}

// keptBack tells whether a transition is of an alarm that the design keeps back, because
// another one explains it: nobody is told.
func keptBack(t *rules.Transition) bool {
	return t.To == rules.SuppressedByDesign || t.From == rules.SuppressedByDesign && t.To == rules.Normal
}

// A person's word goes through the unit like samples do: the same when the unit is restored
// from a snapshot in between.
func TestCommandsThroughAUnit(t *testing.T) {
	specs, err := rig.Plant(rigStart)
	if err != nil {
		t.Fatal(err)
	}
	s, err := rig.Find(specs, "clamp-3") // leaks
	if err != nil {
		t.Fatal(err)
	}
	u, _ := play(s, 2400, nil)
	now := rigStart.Add(2400 * station.Second)
	c := station.Command{Kind: "shelve", Alarm: rules.OutletLeak, By: "Ada", Note: "fitter ordered", Until: now.Add(station.Minute60)}
	if err := u.Command(&c, now); err != nil {
		t.Fatal(err)
	}
	if err := u.Command(&station.Command{Kind: "shelve", Alarm: rules.OutletLeak, By: "Ada"}, now); err == nil {
		t.Error("a shelving without a reason is taken")
	}
	var buf bytes.Buffer
	if err = u.Save(&buf); err != nil {
		t.Fatal(err)
	}
	u.Discard()
	v, err := pipeline.Restore(bytes.NewReader(buf.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range []station.Instant{now.Add(59 * station.Second), now.Add(61 * station.Second)} {
		u.Tick(at)
		v.Tick(at)
	}
	got, want := v.Take().Transitions, u.Take().Transitions
	if !reflect.DeepEqual(got, want) || raisedIn(got, rules.OutletLeak) != 1 {
		t.Errorf("restored: %+v\nuninterrupted: %+v", got, want)
	}
}
