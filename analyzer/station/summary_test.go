package station

import "testing"

// Half-widths by hand: 5 of the inlet and 3 of the delivered air leave 4 for the exhaust; a meter that tells the
// inlet to 3 leaves 5 where 4 are delivered.
func TestExhaustBand(t *testing.T) {
	for _, c := range []struct{ in, out, want Microlitres }{{5, 3, 4}, {3, 4, 5}, {0, 0, 0}, {200, 0, 200}} {
		m := Minute{Inlet: 300, Exhaust: 100, Delivered: 200}
		m.InletLow, m.InletHigh = m.Inlet-c.in, m.Inlet+c.in
		m.DeliveredLow, m.DeliveredHigh = m.Delivered-c.out, m.Delivered+c.out
		low, high := m.ExhaustBand()
		if low != max(0, 100-c.want) || high != 100+c.want {
			t.Errorf("half-widths %d and %d: %d to %d, want %d about 100", c.in, c.out, low, high, c.want)
		}
	}
}
