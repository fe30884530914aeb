package soak_test

import (
	"testing"

	"strokewise/cmd/internal/soak"
)

// A month of a small plant: weekends, a version that cannot read the snapshots before, a machine that
// dies, tariffs that change. Strokes are those that were published: invented data, exact by construction; costs those of the hours' air.
func TestAMonthLosesAndDoublesNothing(t *testing.T) {
	r, err := soak.Run(t.Context(), soak.Options{Stations: 5, Days: 31, Seconds: 90, Tariff: 9, Upgrades: []int{9, 24}, Restores: []int{16}, Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	t.Log("\n" + r.Text())
	for _, w := range r.Wrong {
		t.Error(w)
	}
	if r.Upgrades != 2 || r.Restores != 1 || r.Strokes < 1000 {
		t.Errorf("%d upgrades, %d restores, %.0f strokes: not the month that was planned", r.Upgrades, r.Restores, r.Strokes)
	}
}
