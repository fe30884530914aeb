package station

import "math"

// temperatures have zeros of their own, so that a factor alone does not convert them.
var temperatures = quantity{what: "a temperature", example: "20 C", negative: true,
	units:   []unit{{"C", 1}, {"K", 1}, {"F", 5. / 9}},
	aliases: []unit{{"°C", 1}, {"°F", 5. / 9}}}

// zeros are the temperatures, K, at which a unit's scale reads 0: by definition 273.15 K is
// 0 °C and 32 °F.
var zeros = map[string]float64{"K": 0, "C": 273.15, "°C": 273.15, "F": 273.15 - 32*5./9, "°F": 273.15 - 32*5./9}

// ParseTemperature parses a temperature, in K: "20 C", "-10 °C", "263 K" or "14 F".
func ParseTemperature(s string) (float64, error) {
	v, err := temperatures.parse(s)
	if err != nil {
		return 0, err
	}
	_, name := splitQuantity(s)
	k := v + zeros[name]
	if k < 0 || math.IsNaN(k) {
		return 0, temperatures.fail(s, "is below absolute zero")
	}
	return k, nil
}
