package config

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
)

// set gives a field a value that is not zero.
func set(v reflect.Value) {
	switch {
	case v.Kind() == reflect.Struct:
		for i := range v.NumField() {
			set(v.Field(i))
		}
	case v.CanFloat():
		v.SetFloat(1.5)
	case v.CanInt():
		v.SetInt(7)
	case v.CanUint():
		v.SetUint(1)
	case v.Kind() == reflect.Bool:
		v.SetBool(true)
	default:
		v.SetString("x")
	}
}

func TestRevisionSeesEveryField(t *testing.T) {
	seen := map[string]string{Revision(&station.Plate{}): "none"}
	kind := reflect.TypeFor[station.Plate]()
	for i := range kind.NumField() {
		var p station.Plate
		set(reflect.ValueOf(&p).Elem().Field(i))
		r := Revision(&p)
		if other, twice := seen[r]; twice || len(r) != 32 {
			t.Errorf("%s gives %q, as %s does", kind.Field(i).Name, r, other)
		}
		seen[r] = kind.Field(i).Name
		if again := p; Revision(&again) != r {
			t.Errorf("%s: two equal plates differ", kind.Field(i).Name)
		}
	}
}

func TestRevisionTellsNeighboursApart(t *testing.T) {
	a := station.Plate{Key: station.Key{Site: "ab", Station: "c"}}
	b := station.Plate{Key: station.Key{Site: "a", Station: "bc"}}
	c, d := station.Plate{Set: 900e3}, station.Plate{Set: 900e3 + 1e-9}
	e := station.Plate{Serial: "x\".Overhauled=\"y"}
	f := station.Plate{Serial: "x", Overhauled: "y"}
	if Revision(&a) == Revision(&b) || Revision(&c) == Revision(&d) || Revision(&e) == Revision(&f) {
		t.Error("different plates have one revision")
	}
}

// The encoding is stored with rows: it must not change by accident. Digest computed with
// printf '.Key.Site="a"\n.Key.Station="b"\n.Set=900000\n.Lateness=2000000000\n' | sha256sum.
func TestRevisionStays(t *testing.T) {
	p := station.Plate{Key: station.Key{Site: "a", Station: "b"}, Set: 900e3, Lateness: 2 * time.Second}
	if got := Revision(&p); got != "92f66876c4daf2079e3e205d80f485f9" {
		t.Errorf("revision %s", got)
	}
}

func TestWorking(t *testing.T) {
	c, err := Parse([]byte(`stations: [{id: a}]
sites:
  - id: s
    zone: Europe/Lisbon
    shifts:
      - { days: mon-fri, from: "06:00", to: "22:00" }
      - { days: fri, from: "23:00", to: "02:30" }
      - { days: sun, from: "00:00", to: "24:00" }
`), "x.yaml", Options{NoBroker: true})
	if err != nil {
		t.Fatal(err)
	}
	// 2026-07-10 is a Friday; Lisbon is an hour ahead of UTC in summer, and level in winter.
	for at, want := range map[string]bool{
		"2026-07-10T04:59:59Z": false, "2026-07-10T05:00:00Z": true, "2026-07-10T20:59:59Z": true,
		"2026-07-10T21:00:00Z": false, "2026-07-10T22:00:00Z": true, "2026-07-11T01:29:59Z": true,
		"2026-07-11T01:30:00Z": false, "2026-07-11T12:00:00Z": false, "2026-07-11T23:00:00Z": true,
		"2026-07-12T22:59:59Z": true, "2026-07-12T23:00:00Z": false, "2026-01-09T05:30:00Z": false, "2026-01-09T06:00:00Z": true,
	} {
		tm, err := time.Parse(time.RFC3339, at)
		if err != nil {
			t.Fatal(err)
		}
		if got := c.Sites[0].Working(tm); got != want {
			t.Errorf("%s: %v", at, got)
		}
	}
	if !(&Site{Zone: time.UTC}).Working(time.Time{}) {
		t.Error("a site without shifts does not work")
	}
}

func TestDays(t *testing.T) {
	for text, want := range map[string]string{"mon-fri": "12345", "fri-mon": "0156", "sun": "0", "Tue, THU": "24",
		"monday-wednesday": "123", "mon-mon": "1", "sat-sun,wed": "036"} {
		var got [7]bool
		for _, p := range strings.Split(text, ",") {
			if !addDays(p, &got) {
				t.Errorf("%q is refused", text)
			}
		}
		digits := ""
		for i, on := range got {
			if on {
				digits += string(rune('0' + i))
			}
		}
		if digits != want {
			t.Errorf("%q gives %s", text, digits)
		}
	}
	for _, bad := range []string{"", "-", "mon-", "mo", "mon-tue-wed", "1-5"} {
		if addDays(bad, new([7]bool)) {
			t.Errorf("%q is taken", bad)
		}
	}
}

func TestWarnings(t *testing.T) {
	for text, want := range map[string]string{
		"booster: {set_pressure: 900 kPa}, tank: {ps: 1000 kPa, relief_pressure: 1100 kPa}": "tank.relief_pressure",
		"booster: {set_pressure: 900 kPa}, tank: {relief_pressure: 900 kPa}":                "tank.relief_pressure",
		"booster: {set_pressure: 900 kPa}, tank: {relief_pressure: 800 kPa}":                "tank.relief_pressure",
		"booster: {set_pressure: 900 kPa}, tank: {relief_pressure: 990 kPa}":                "tank.relief_pressure",
		"booster: {set_pressure: 900 kPa}, tank: {ps: 890 kPa}":                             "tank.ps",
		"booster: {set_pressure: 900 kPa}, required_pressure: 901 kPa":                      "required_pressure",
		"booster: {set_pressure: 900 kPa}, limits: {hose: 800 kPa}":                         "limits.hose",
		"booster: {set_pressure: 900 kPa}, regulator_set: 950 kPa":                          "regulator_set",
		"regulator_set: 600 kPa, required_pressure: 700 kPa":                                "required_pressure",
		"booster: {drive_bore: 63 mm, boost_bore: 63 mm, stroke: 60 mm}":                    "booster.rod",
	} {
		c, err := Parse([]byte("stations: [{id: a, "+text+"}]"), "x.yaml", Options{NoBroker: true})
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if len(c.Warnings) != 1 || c.Warnings[0].Key != "stations[0]."+want || c.Warnings[0].Line != 1 {
			t.Errorf("%s: %v", text, c.Warnings)
		}
	}
}

func TestNearest(t *testing.T) {
	known := []string{"set_pressure", "password_file", "rod", "stroke", "rod_through_drive"}
	for name, want := range map[string]string{"set-pressure": "set_pressure", "SetPressure": "set_pressure", "set_presure": "set_pressure",
		"password": "password_file", "rdo": "rod", "pressure": "set_pressure", "strokes": "stroke", "colour": "", "": "",
		strings.Repeat("x", 100): ""} {
		if got := nearest(name, known); got != want {
			t.Errorf("%q gives %q", name, got)
		}
	}
	if d := distance("ab", "ba"); d != 1 {
		t.Errorf("a swap counts %d", d)
	}
}
