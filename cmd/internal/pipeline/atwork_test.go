package pipeline_test

import (
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/rules"
)

// A supply that is opened while people are at work is told within 2 s of event time, and after a
// person's word "vented" within the 5 s that this alarm waits and two more; with the valve's
// signal and without. Before that nothing is told. Source of the truth: collector/rig, which
// vents from 300 s on and feeds again from 480 s on.
func TestSupplyOpenedAtWork(t *testing.T) {
	for _, signal := range []bool{true, false} {
		spec := vents(t, "press-4", []int64{300})
		v, u := rig.New(spec, rigStart, 100), pipeline.New(spec.Plate, "test")
		for sec := int64(1); sec <= 520; sec++ {
			at := rigStart.Add(sec * station.Second)
			blocks := v.Until(at)
			if open := map[bool]float64{true: 1}[sec <= 300 || sec > 480]; signal {
				blocks = append(blocks, station.Block{Channel: station.SupplyOpen, Start: at.Add(-station.Second), Values: []float64{open}})
			}
			u.Samples(blocks, at)
			for _, c := range []station.Command{{Kind: "vented", By: "Ada", Note: "both gauges"}, {Kind: "at-work", By: "Ada", Note: "seal", Until: at.Add(3600 * station.Second)}} {
				if sec != 400 {
					break
				}
				if err := u.Command(&c, at); err != nil {
					t.Fatal(err)
				}
			}
		}
		for alarm, latest := range map[string]int64{rules.PressureAtWork: 482, rules.PressureReturned: 487} {
			n := 0
			for _, x := range u.Out.Transitions {
				if x.Alarm != alarm || x.To != rules.Unacknowledged {
					continue
				}
				n++
				if x.At < rigStart.Add(480*station.Second) || x.At > rigStart.Add(latest*station.Second) {
					t.Errorf("signal %v: %s at %d s, opened at 480 s: %s", signal, alarm, x.At.Sub(rigStart)/station.Second, x.Message)
				}
				t.Logf("signal %v: %s at %d s: %s", signal, alarm, x.At.Sub(rigStart)/station.Second, x.Message)
				if alarm == rules.PressureAtWork && !strings.Contains(x.Message, "Ada until") {
					t.Error(x.Message)
				}
			}
			if n != 1 {
				t.Errorf("signal %v: %s was raised %d times", signal, alarm, n)
			}
		}
	}
}
