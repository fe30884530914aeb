package station

import (
	"math"
	"testing"
)

// 0 °C is 273.15 K and 32 °F, a degree Fahrenheit 5/9 K: definitions of the scales.
func TestTemperatures(t *testing.T) {
	for text, want := range map[string]float64{
		"20 C": 293.15, "-10 °C": 263.15, "263 K": 263, "32 F": 273.15, "212 °F": 373.15, "0 K": 0, "-40 C": 233.15, "-40F": 233.15,
	} {
		got, err := ParseTemperature(text)
		if err != nil || math.Abs(got-want) > 1e-9 {
			t.Errorf("%q is %v K, %v; want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"20", "20 c", "-1 K", "-300 C", "20 kPa", "warm", "1e400 C", ""} {
		if got, err := ParseTemperature(text); err == nil {
			t.Errorf("%q was read as %v K", text, got)
		}
	}
}
