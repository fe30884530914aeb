package station

import "testing"

// Factors: NIST SP 811 (2008), appendix B.8: 1 bar = 100 kPa, 1 psi = 6.894757 kPa.
func TestReading(t *testing.T) {
	for _, c := range []struct {
		in         Reading
		pa         float64
		gauge, gap string
	}{
		{ReadKPa, 983e3, "983 kPa gauge", "983 kPa"},
		{ReadBar, 983e3, "9.83 bar gauge", "9.83 bar"},
		{ReadPSI, 689475.7, "100 psi gauge", "100 psi"},
		{ReadKPa, -400, "0 kPa gauge", "0 kPa"},
	} {
		if got := c.in.Gauge(c.pa); got != c.gauge {
			t.Errorf("%v Pa is %q, expected %q", c.pa, got, c.gauge)
		}
		if got := c.in.Difference(c.pa); got != c.gap {
			t.Errorf("%v Pa is %q, expected %q", c.pa, got, c.gap)
		}
	}
}
