package pipeline_test

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
)

// While the outlet is doubted, "last seen" is a reading from before the fault, and the stored energy
// follows from it: never what a wrong unit or a broken sensor showed until the doubt was decided. Where
// the fault was there from the start nothing was seen. Truth: collector/rig reads the outlet right up
// to the onset; a station's outlet moves by less than half between two marks.
func TestLastSeenIsLastBelieved(t *testing.T) {
	t.Parallel()
	for _, f := range []sensorFault{
		{name: "outlet bar as kPa", faults: faulty(rig.OutletUnit, 0.01)},
		{name: "outlet kPa as bar", faults: faulty(rig.OutletUnit, 90)},
		{name: "both bar as kPa", faults: faulty(rig.WrongUnit, 0.01)},
		{name: "outlet bar as kPa from the start", start: true, faults: faulty(rig.OutletUnit, 0.01)},
	} {
		for _, seed := range sensorStations[:3] {
			low, high, doubted := math.Inf(1), 0.0, 0
			play(f.of(seed), faultAt+300, func(u *pipeline.Unit) {
				s := u.Status
				if s.At < onset(seed) && !f.start {
					if s.Outlet.Known() && s.At > rigStart.Add(120*station.Second) {
						low, high = min(low, s.Outlet.Value), max(high, s.Outlet.Value)
					}
					return
				}
				if !u.Stepped() || s.State != station.Blind || s.Outlet.Known() || s.Outlet.Reason == "no reading yet" {
					return
				}
				doubted++
				seen := float64(s.OutletLastSeen)
				if f.start {
					if !math.IsNaN(seen) {
						t.Fatalf("%s, station %d: %.0f Pa is shown as last seen, and nothing was believed", f.name, seed, seen)
					}
					return
				}
				if !(seen >= low && seen <= high) {
					t.Fatalf("%s, station %d: last seen at %.0f Pa, believed before were %.0f to %.0f", f.name, seed, seen, low, high)
				}
			})
			if doubted == 0 {
				t.Errorf("%s, station %d: was never doubted", f.name, seed)
			}
		}
	}
}
