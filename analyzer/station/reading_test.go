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

// Inputs and figures are pressures where their unit says so; everything else stays. 1 bar is 100 kPa.
func TestReadingOfInputsAndFigures(t *testing.T) {
	for _, c := range []struct{ in, want Input }{
		{Value("p", 250, "kPa gauge", Measured), Value("p", 2.5, "bar gauge", Measured)},
		{Value("p", 250, "kPa", Measured), Value("p", 2.5, "bar", Measured)},
		{Value("V", 250, "L", Measured), Value("V", 250, "L", Measured)},
		{Input{Name: "rule", Text: "none"}, Input{Name: "rule", Text: "none"}},
	} {
		if got := ReadBar.Input(c.in); got != c.want {
			t.Errorf("%+v is read as %+v, expected %+v", c.in, got, c.want)
		}
	}
	if unit, factor, places := ReadBar.Figure(&Figures[HeaderStatic]); unit != "bar gauge" || factor != 1e-5 || places != 2 {
		t.Errorf("the header is read in %s with factor %g and %d decimals, expected bar gauge, 1e-5 and 2", unit, factor, places)
	}
	if unit, factor, _ := ReadBar.Figure(&Figures[LeakFlow]); unit != Figures[LeakFlow].Shown || factor != Figures[LeakFlow].Factor {
		t.Errorf("a leak is read in %s with factor %g", unit, factor)
	}
}
