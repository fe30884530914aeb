package recorded

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

// All twenty recordings are there, their samples are read to the end, and each truth is in
// agreement with itself: minutes sum up to totals, strokes come in order, stall and duty share
// the fed time.
func TestRecordings(t *testing.T) {
	all, err := All()
	if err != nil {
		t.Fatal(err)
	}
	if len(all) != 6+14 { // the tables of the folder's README
		t.Fatalf("%d recordings", len(all))
	}
	for i := range all {
		r := &all[i]
		t.Run(r.Group+"/"+r.Name, func(t *testing.T) {
			t.Parallel()
			tr := &r.Truth
			var m Minute
			for _, x := range tr.Minutes {
				m.Strokes, m.Inlet, m.Exhaust, m.Delivered = m.Strokes+x.Strokes, m.Inlet+x.Inlet, m.Exhaust+x.Exhaust, m.Delivered+x.Delivered
			}
			// Minutes are rounded to 0.1 mL and 1 mL.
			for _, c := range []struct {
				what      string
				got, want float64
			}{{"strokes", m.Strokes, tr.Total}, {"inlet", m.Inlet, tr.Inlet}, {"exhaust", m.Exhaust, tr.Exhaust}, {"delivered", m.Delivered, tr.Delivered}} {
				if math.Abs(c.got-c.want) > 0.05 {
					t.Errorf("%s: minutes sum up to %g, total %g", c.what, c.got, c.want)
				}
			}
			if !math.IsNaN(tr.Holding) && math.Abs(tr.Holding+tr.Starved-tr.Fed*(1-tr.Duty)) > 0.1 {
				t.Errorf("stall of %g s, fed %g s at a duty of %g", tr.Holding+tr.Starved, tr.Fed, tr.Duty)
			}
			for k := 1; k < len(tr.Strokes); k++ {
				if tr.Strokes[k] <= tr.Strokes[k-1] || tr.Strokes[k] > tr.Seconds {
					t.Fatalf("stroke %d ends at %g s, the one before at %g s", k, tr.Strokes[k], tr.Strokes[k-1])
				}
			}
			var last, counted float64
			err := r.Play(true, func(bs []station.Block) {
				for _, b := range bs {
					last = float64(b.At(b.Len()-1).Sub(tr.Start)) * 1e-9
					if b.Channel == station.Cycles {
						counted = b.Values[b.Len()-1]
					}
				}
			})
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(last-tr.Seconds) > 1 {
				t.Errorf("the last sample is %g s from the start, of %g", last, tr.Seconds)
			}
			if r.Counter && math.Abs(2*counted-tr.Total) > 2 {
				t.Errorf("the counter ends at %g cycles, the model at %g strokes", counted, tr.Total)
			}
		})
	}
}
