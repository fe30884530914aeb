package station

import (
	"reflect"
	"testing"
)

func TestAirPricesComeBack(t *testing.T) {
	first := AirPrice{0.02, "EUR"}
	steps := []AirPriceStep{{Instant(-5 * Second), AirPrice{1. / 3, "EUR"}}, {Instant(1782856800 * Second), AirPrice{}}, {Instant(1800000000 * Second), AirPrice{1e-300, "CHF"}}}
	text := AirPriceText(steps)
	got, err := ReadAirPrices(text)
	if err != nil || !reflect.DeepEqual(got, steps) {
		t.Errorf("%q: %+v, %v", text, got, err)
	}
	for at, want := range map[Instant]AirPrice{-6e9: first, -5e9: steps[0].AirPrice, 1782856800e9 - 1: steps[0].AirPrice, 1782856800e9: {}, 1 << 62: steps[2].AirPrice} {
		if got := AirPriceAt(first, steps, at); got != want {
			t.Errorf("%d: %+v, want %+v", at, got, want)
		}
	}
	if steps, err := ReadAirPrices(""); len(steps) > 0 || err != nil {
		t.Error(steps, err)
	}
	for _, bad := range []string{"x", "1", "1 x EUR", "1 2 EUR 3", "99999999999999999 1 EUR", "1 2,"} {
		if _, err := ReadAirPrices(bad); err == nil {
			t.Errorf("%q is read", bad)
		}
	}
}
