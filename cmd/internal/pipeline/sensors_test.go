package pipeline_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/rules"
)

const rigStart = station.Instant(1767225600e9)

// virtual gives a station of the demonstration's plant.
func virtual(t *testing.T, id string, faults ...rig.Fault) rig.Spec {
	t.Helper()
	specs, err := rig.Plant(rigStart)
	if err != nil {
		t.Fatal(err)
	}
	s, err := rig.Find(specs, id)
	if err != nil {
		t.Fatal(err)
	}
	s.Faults = faults
	return s
}

// play runs a virtual station for some seconds.
func play(s rig.Spec, seconds int64, each func(*pipeline.Unit)) (*pipeline.Unit, *rig.Station) {
	v := rig.New(s, rigStart, 100)
	u := pipeline.New(s.Plate, "test")
	for at := rigStart; at < rigStart.Add(seconds*station.Second); at = at.Add(station.Second) {
		u.Samples(v.Until(at.Add(station.Second)), at.Add(station.Second))
		if each != nil {
			each(u)
		}
	}
	return u, v
}

// A sensor fault makes the station blind, with a reason that a person can act on, and
// raises no alarm of the machine. Source of the truth: collector/rig.
func TestSensorFaultsAreNoMachineFaults(t *testing.T) {
	const sets = 300 // s
	for _, c := range []struct {
		fault string
		level float64
		says  string
	}{
		{"sensor-frozen", 0, "outlet reading stands still"},
		{"sensors-swapped", 0, "exchanged"},
		{"wrong-unit", 0.01, "wrong unit"},
	} {
		f, err := rig.NewFault(c.fault, c.level, rigStart.Add(sets*station.Second), 0)
		if err != nil {
			t.Fatal(err)
		}
		said := map[string]int{}
		u, _ := play(virtual(t, "press-4", f), 900, func(u *pipeline.Unit) {
			if u.Status.State == station.Blind {
				said[u.Status.StateReason.String()]++
			}
		})
		if u.Status.State != station.Blind || !strings.Contains(u.Status.StateReason.String(), c.says) {
			t.Errorf("%s: %s (%s); was blind for %v", c.fault, u.Status.State, u.Status.StateReason.String(), said)
		}
		if want := map[bool]string{true: "sensor-frozen", false: "sensor-implausible"}[c.fault == "sensor-frozen"]; raised(u, want) != 1 {
			t.Errorf("%s: %s was raised %d times, want once", c.fault, want, raised(u, want))
		}
		for _, a := range u.Out.Transitions {
			if !strings.HasPrefix(a.Alarm, "sensor-") && a.Alarm != "signal-lost" {
				t.Errorf("%s: raised %s: %s", c.fault, a.Alarm, a.Message)
			}
		}
	}
}

func raised(u *pipeline.Unit, alarm string) int { return raisedIn(u.Out.Transitions, alarm) }

func raisedIn(ts []rules.Transition, alarm string) int {
	n := 0
	for _, a := range ts {
		if a.Alarm == alarm && a.To == rules.Unacknowledged {
			n++
		}
	}
	return n
}

// Sound sensors are never doubted: on every station of the plant, for a quarter of an hour.
func TestSoundSensorsAreBelieved(t *testing.T) {
	specs, err := rig.Plant(rigStart)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range specs {
		n := 0
		play(s, 900, func(u *pipeline.Unit) {
			if u.Stepped() && u.Status.State == station.Blind && u.Status.At > rigStart.Add(5*station.Second) {
				n++
			}
		})
		if n > 0 {
			t.Errorf("%s was blind for %d s", s.Plate.Key, n)
		}
	}
}

// The two sides' times of stroke, beside those of the model: within 0.1, since ends are told
// within some hundredths of a second.
func TestUnevenness(t *testing.T) {
	for _, c := range []struct{ level, most float64 }{{0, 0.06}, {0.35, 1}} {
		s := virtual(t, "pack-1")
		s.Rhythm = rig.Rhythm{Flow: 8e-3, Period: 60, Share: 0.9}
		if c.level > 0 {
			s.Faults = []rig.Fault{{Kind: rig.Uneven, Level: c.level}}
		}
		var took [2][]float64
		var last station.Stroke
		v := rig.New(s, rigStart, 0)
		u := pipeline.New(s.Plate, "test")
		for at := rigStart; at < rigStart.Add(600*station.Second); at = at.Add(station.Second) {
			u.Samples(v.Until(at.Add(station.Second)), at)
			for _, k := range v.TakeStrokes() {
				if last.At != 0 {
					i := int(k.Side - station.SideA)
					took[i] = append(took[i], float64(k.At.Sub(last.At))*1e-9)
				}
				last = k
			}
		}
		a, b := middle(took[0]), middle(took[1])
		want := 2 * math.Abs(a-b) / (a + b)
		got := u.Status.Estimates[station.StrokeUnevenness]
		if !got.Known() || math.Abs(got.Value-want) > 0.1 {
			t.Errorf("level %g: unevenness %.3f (%s), the model's %.3f", c.level, got.Value, got.Reason, want)
		}
		t.Logf("level %g: unevenness %.3f, the model's %.3f; pulsation %.4f", c.level, got.Value, want, u.Status.Estimates[station.Pulsation].Value)
	}
}

func middle(v []float64) float64 {
	v = v[max(0, len(v)-16):]
	slices.Sort(v)
	return v[len(v)/2]
}
