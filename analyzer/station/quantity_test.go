package station

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"
)

// number makes one signature of all parsers that give SI numbers.
func number[T ~float64 | ~int64](parse func(string) (T, error)) func(string) (float64, error) {
	return func(s string) (float64, error) {
		v, err := parse(s)
		return float64(v), err
	}
}

var parsers = map[string]func(string) (float64, error){
	"length": number(ParseLength), "volume": number(ParseVolume), "flow": number(ParseFlow),
	"rate": number(ParseRate), "ratio": number(ParseRatio), "energy": number(ParseSpecificEnergy),
	"emission": number(ParseEmission), "duration": number(ParseDuration), "bytes": number(ParseBytes),
	"absolute": number(ParseAbsolute),
	"gauge": func(s string) (float64, error) {
		g, err := ParseGauge(s, StandardAtmosphere)
		return float64(g), err
	},
	"price": func(s string) (float64, error) {
		p, err := ParsePrice(s)
		return p.PerKWh(), err
	},
}

// The factors are definitions of SI and of the inch; psi: NIST SP 811, appendix B.8,
// gives 6.894757e3 Pa (from memory).
func TestQuantities(t *testing.T) {
	for _, c := range []struct {
		kind, text string
		want       float64
	}{
		{"length", "63 mm", 0.063}, {"length", "6.3cm", 0.063}, {"length", "12 m", 12}, {"length", "2.5 in", 0.0635},
		{"length", "  +1e3  mm ", 1}, {"length", ".5 m", 0.5}, {"length", "0 mm", 0}, {"length", "63\u00a0mm", 0.063},
		{"gauge", "6.3 bar", 630e3}, {"gauge", "900 kPa", 900e3}, {"gauge", "0.9 MPa", 900e3}, {"gauge", "250 mbar", 25e3},
		{"gauge", "90 psi", 90 * 6.894757e3}, {"gauge", "-20 kPa", -20e3}, {"gauge", "1 Pa", 1},
		{"gauge", "730 kPa abs", 730e3 - 101325}, {"gauge", "0 bar abs", -101325},
		{"absolute", "98 kPa abs", 98e3}, {"absolute", "1013.25 hPa  abs", 101325},
		{"volume", "20 L", 0.02}, {"volume", "0.19 l", 0.19e-3}, {"volume", "190 cm3", 0.19e-3}, {"volume", "500 mL", 0.5e-3}, {"volume", "1.5 m³", 1.5},
		{"flow", "15 L/min", 0.25e-3}, {"flow", "2 L/s", 2e-3}, {"flow", "36 m3/h", 0.01}, {"flow", "6 m³/min", 0.1},
		{"duration", "2 s", 2e9}, {"duration", "48h", 48 * 3600e9}, {"duration", "500 ms", 5e8}, {"duration", "5 min", 300e9}, {"duration", "7 d", 7 * 24 * 3600e9},
		{"bytes", "20 GB", 20e9}, {"bytes", "512 MB", 512e6}, {"bytes", "1 GiB", 1 << 30}, {"bytes", "0.5 kB", 500},
		{"rate", "8 Hz", 8}, {"rate", "2 /s", 2}, {"rate", "90/min", 1.5}, {"ratio", "10 %", 0.1}, {"ratio", "2.5%", 0.025},
		{"energy", "0.12 kWh/m3", 0.12 * 3.6e6}, {"emission", "0.30 kg/kWh", 0.30 / 3.6e6}, {"emission", "300 g/kWh", 0.30 / 3.6e6},
		{"price", "0.18 EUR/kWh", 0.18}, {"price", "90 CHF / MWh", 0.09},
	} {
		got, err := parsers[c.kind](c.text)
		if err != nil || math.Abs(got-c.want) > 1e-6*math.Abs(c.want) {
			t.Errorf("%s %q: got %v, %v; want %v", c.kind, c.text, got, err, c.want)
		}
	}
}

func TestQuantityErrorsSayWhatIsWrong(t *testing.T) {
	for _, c := range []struct{ kind, text, want string }{
		{"length", "63", `"63" has no unit; expected a length in mm, cm, m, in or ft; example: 63 mm`},
		{"length", "mm", "does not start with a number"},
		{"length", "", "does not start with a number"},
		{"length", "6,3 mm", "write a dot"},
		{"length", "63 bar", "has an unknown unit; expected a length"},
		{"length", "-1 mm", "is negative"},
		{"length", "1e999 mm", "is out of range"},
		{"energy", "1e308 kWh/m3", "is out of range"},
		{"length", "NaN mm", "does not start with a number"},
		{"length", "Inf mm", "does not start with a number"},
		{"length", "0x10 mm", "has an unknown unit"},
		{"length", "1_000 mm", "has an unknown unit"},
		{"length", "1 2 mm", "has an unknown unit"},
		{"gauge", "6.3 Bar", "did you mean bar?"},
		{"gauge", "900 kpa", "did you mean kPa?"},
		{"gauge", "6 barabs", "has an unknown unit"},
		{"gauge", "900", `gauge, unless it ends in "abs"`},
		{"gauge", "900 abs", "has no unit"},
		{"gauge", "-1 kPa abs", "is negative"},
		{"absolute", "98 kPa", "is a gauge pressure; expected an absolute pressure"},
		{"absolute", "98 abs", "has no unit; expected an absolute pressure"},
		{"absolute", "-98 kPa abs", "is negative"},
		{"volume", "5 gal", "has an unknown unit"},
		{"flow", "15 NL/min", "has an unknown unit"},
		{"duration", "2", "has no unit; expected a duration in ms, s, min, h or d; example: 2 s"},
		{"duration", "1e12 h", "is out of range"},
		{"bytes", "1e30 TB", "is out of range"},
		{"price", "0.18", "has no unit; expected a price with its currency"},
		{"price", "0.18 euro/kWh", "has no currency code"},
		{"price", "0.18 EUR", "has no unit"},
		{"price", "0.18 EUR/h", "has an unknown unit"},
		{"ratio", "0.1", "has no unit; expected a share in %; example: 10 %"},
	} {
		_, err := parsers[c.kind](c.text)
		var q *QuantityError
		if !errors.As(err, &q) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s %q: error %v, want %q in it", c.kind, c.text, err, c.want)
		}
	}
}

func TestQuantityErrorsStayShort(t *testing.T) {
	_, err := ParseLength(strings.Repeat("µ", 10000))
	if n := len(err.Error()); n > 300 {
		t.Errorf("message of %d bytes", n)
	}
}

func TestQuantityExamplesParse(t *testing.T) {
	for kind, parse := range parsers {
		_, err := parse("?")
		var q *QuantityError
		if !errors.As(err, &q) {
			t.Fatalf("%s: error %v", kind, err)
		}
		if _, err := parse(q.Example); err != nil {
			t.Errorf("%s: example %q: %v", kind, q.Example, err)
		}
	}
}

func TestDurationsAreExact(t *testing.T) {
	for text, want := range map[string]time.Duration{"0.1 s": 100 * time.Millisecond, "48 h": 48 * time.Hour, "1.5 min": 90 * time.Second} {
		if got, err := ParseDuration(text); got != want || err != nil {
			t.Errorf("%s: %v, %v", text, got, err)
		}
	}
}

func TestPressureUnit(t *testing.T) {
	if f, ok := PressureUnit("bar"); !ok || f != 1e5 {
		t.Errorf("bar: %v %v", f, ok)
	}
	if _, ok := PressureUnit("Bar"); ok {
		t.Error("Bar is taken for a unit")
	}
}

func FuzzQuantity(f *testing.F) {
	for _, s := range []string{"63 mm", "6.3 bar", "730 kPa abs", "-20 kPa", "1e-3 m3", "48h", "20 GB", "0.18 EUR/kWh", "10 %",
		"abs", "1 abs", "+.e5 s", "1,5 bar", "9e18 ns", "9.3e18 B", "\xff 1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for kind, parse := range parsers {
			v, err := parse(s)
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%s %q: %v", kind, s, v)
			}
			if err == nil && v < 0 && kind != "gauge" {
				t.Errorf("%s %q: negative %v", kind, s, v)
			}
			var q *QuantityError
			if err != nil && (!errors.As(err, &q) || q.Problem == "" || q.Expected == "" || q.Example == "") {
				t.Errorf("%s %q: error says too little: %v", kind, s, err)
			}
		}
	})
}
