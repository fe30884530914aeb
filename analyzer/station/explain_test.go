package station

import "testing"

func TestBrief(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 1096: "1096", 0.07: "0.07", 2.3061: "2.306", 1.4e-9: "1.4e-09", 637.56: "637.6", 1234567.8: "1.235e+06", -0.5: "-0.5"} {
		if got := Brief(v); got != want {
			t.Errorf("%g: %s, want %s", v, got, want)
		}
	}
}
