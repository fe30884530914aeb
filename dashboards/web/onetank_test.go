package web

import (
	"testing"

	"strokewise/analyzer/station"
)

// Two boosters on one tank are one row, with the energy that the one states which speaks for the tank; a tank of its own, another
// site's of the same name, and a station whose supply is open or of which a person said something are rows of their own.
func TestOneTankIsListedOnce(t *testing.T) {
	plate := func(site, id, tank, at string) *station.Plate {
		return &station.Plate{Key: station.Key{Site: site, Station: id}, Tank: tank, TankAt: at}
	}
	tanks, rows := oneTank{}, []afterRow(nil)
	for _, c := range []struct {
		p *station.Plate
		r afterRow
	}{
		{plate("north", "a", "hall", "b"), afterRow{Station: "north/a", Energy: "unknown"}},
		{plate("north", "b", "hall", ""), afterRow{Station: "north/b", Energy: "about 40.0 kJ"}},
		{plate("south", "b", "hall", ""), afterRow{Station: "south/b"}},
		{plate("north", "c", "", ""), afterRow{Station: "north/c"}},
		{plate("north", "d", "hall", "b"), afterRow{Station: "north/d", Word: "vented, says Ada"}},
		{plate("north", "e", "hall", "b"), afterRow{Station: "north/e", Open: true}},
	} {
		rows = tanks.add(rows, c.p, c.r)
	}
	want := []string{"north/b; north/a", "south/b", "north/c", "north/d", "north/e"}
	if len(rows) != len(want) || rows[0].Energy != "about 40.0 kJ" {
		t.Fatalf("%+v", rows)
	}
	for i, w := range want {
		if rows[i].Station != w {
			t.Errorf("row %d is of %q, want %q", i, rows[i].Station, w)
		}
	}
}
