package config

import (
	"strings"
	"testing"
)

// Plates that are a slip of a digit or a unit are warned of, by the key that is odd. The bounds are those of plausible.go, the slips
// invented: 8 mm for 80 mm, 0.03 L for 30 L, 70 cm for 70 mm, kPa for bar.
func TestImplausiblePlates(t *testing.T) {
	const sound = "booster: {drive_bore: 80 mm, boost_bore: 80 mm, rod: 20 mm, stroke: 70 mm, set_pressure: 900 kPa, max_stroke_rate: 4 Hz}, tank: {volume: 30 L}, supply: {bore: 9 mm, length: 12 m}"
	for _, c := range []struct{ was, is, key string }{
		{"", "", ""},
		{"drive_bore: 80 mm", "drive_bore: 30 mm", "booster.drive_bore"},
		{"boost_bore: 80 mm", "boost_bore: 25 mm", "booster.drive_bore"},
		{"stroke: 70 mm", "stroke: 70 cm", "booster.stroke"},
		{"stroke: 70 mm", "stroke: 7 mm", "booster.stroke"},
		{"max_stroke_rate: 4 Hz", "max_stroke_rate: 45 Hz", "booster.max_stroke_rate"},
		{"volume: 30 L", "volume: 0.03 L", "tank.volume"},
		{"volume: 30 L", "volume: 30 m3", "tank.volume"},
		{"set_pressure: 900 kPa", "set_pressure: 9 kPa", "booster.set_pressure"},
		{"set_pressure: 900 kPa", "set_pressure: 9000 kPa", "booster.set_pressure"},
		{"bore: 9 mm, length", "bore: 0.9 mm, length", "supply.bore"},
		{"drive_bore: 80 mm, boost_bore: 80 mm, rod: 20 mm, stroke: 70 mm", "drive_bore: 63 mm, boost_bore: 80 mm, rod: 16 mm, stroke: 120 mm", ""},
		{"volume: 30 L", "volume: 500 L", ""},
	} {
		text := strings.Replace(sound, c.was, c.is, 1)
		cfg, err := Parse([]byte("stations: [{id: a, "+text+"}]"), "x.yaml", Options{NoBroker: true})
		switch {
		case err != nil:
			t.Errorf("%s: %v", c.is, err)
		case c.key == "" && len(cfg.Warnings) > 0:
			t.Errorf("%s: %v", c.is, cfg.Warnings)
		case c.key != "" && (len(cfg.Warnings) != 1 || cfg.Warnings[0].Key != "stations[0]."+c.key):
			t.Errorf("%s: %v, expected one of %s", c.is, cfg.Warnings, c.key)
		}
	}
}
