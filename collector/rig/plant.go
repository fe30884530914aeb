package rig

import (
	"fmt"
	"math"
	"strings"
	"time"
	_ "time/tzdata" // zones on machines that have none

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	"strokewise/collector/rig/model"
)

// The demonstration's plant, which does not exist: two sites, four branches, eight
// stations.
const (
	Northdock     = "northdock"
	NorthdockZone = "Europe/Lisbon"
	Southmill     = "southmill"
	SouthmillZone = "Europe/Athens"
)

// doubling returns a doubling station's spec.
func doubling(site, branch, id, about string, seed uint64) Spec {
	g := model.Doubling()
	return made(site, branch, id, about, seed, g, 1000e3)
}

// quadrupling returns a station of four times the pressure, on a lower header.
func quadrupling(site, branch, id, about string, seed uint64) Spec {
	g := model.Quadrupling()
	s := made(site, branch, id, about, seed, g, 1500e3)
	s.Params.Relief.SetGauge, s.Plate.Relief = 1800e3, 1800e3
	s.Params.Regulator.SetGauge = 1200e3
	return s
}

func made(site, branch, id, about string, seed uint64, g model.Geometry, set float64) Spec {
	p := model.Default()
	p.Governor.SetGauge = set
	plate := station.Plate{
		Key: station.Key{Site: site, Station: id}, Branch: branch, Set: station.Gauge(set),
		TankVolume: p.Tank.Volume, Relief: station.Gauge(p.Relief.SetGauge), Counts: station.CountsCycles,
	}
	plate.Bores(g.DriveBore, g.BoostBore, g.Rod, g.Stroke, !g.FullFaceDrive, !g.FullFaceBoost)
	return Spec{
		Plate: plate, About: about, Geometry: g, Params: p, Outlet: math.NaN(), Seed: seed, Style: payload.Joint,
		Sensors: Sensors{Rate: 20, Noise: 500, Step: 100, Inlet: true, Outlet: true, Counter: true},
		Rhythm:  Rhythm{Flow: 6e-3, Period: 12, Share: 0.35, Vary: 0.4},
	}
}

// Plant returns the demonstration's stations. Faults set in around now.
func Plant(now station.Instant) ([]Spec, error) {
	north, err := time.LoadLocation(NorthdockZone)
	if err != nil {
		return nil, err
	}
	south, err := time.LoadLocation(SouthmillZone)
	if err != nil {
		return nil, err
	}
	ago := func(d time.Duration) station.Instant { return now.Add(-int64(d)) }
	in := func(d time.Duration) station.Instant { return now.Add(int64(d)) }

	even := doubling(Northdock, "forming", "press-4", "a healthy doubling station at 100 samples a second", 4)
	even.Sensors.Rate = 100
	even.Rhythm.Zone = north

	four := quadrupling(Northdock, "forming", "press-9", "a healthy station of four times the pressure", 9)
	four.Rhythm = Rhythm{Flow: 2.5e-3, Period: 15, Share: 0.3, Vary: 0.4, Zone: north}
	four.Style = payload.Channels

	narrow := doubling(Northdock, "clamping", "clamp-2", "a supply pipe that is too narrow", 2)
	narrow.Params.Supply.Line.C = 1.7 * model.DM3SBar
	narrow.Rhythm = Rhythm{Flow: 8e-3, Period: 10, Share: 0.5, Vary: 0.3, Zone: north}

	leak := doubling(Northdock, "clamping", "clamp-3", "nobody works there, and a leak grows while one watches", 3)
	leak.Rhythm = Rhythm{Zone: north}
	leak.Faults = []Fault{{Kind: OutletLeak, Level: 2.3e-9, From: in(20 * time.Second), Grow: 60 * station.Second}}
	leak.Style = payload.Packs

	left := doubling(Southmill, "testing", "bench-1", "shut down with pressure left in its tank", 1)
	left.Rhythm.Zone = south
	left.Params.Leaks.Tank = model.Nozzle{C: 2e-11, B: b}
	left.Faults = []Fault{{Kind: Shutdown, From: ago(4 * time.Minute)}}
	left.Plate.Grace = time.Minute // the demonstration does not wait for the usual five
	left.Style = payload.Channels

	clog := doubling(Southmill, "testing", "bench-2", "a filter that clogs from day to day", 22)
	clog.Params.Supply.Line.C = 5 * model.DM3SBar
	clog.Faults = []Fault{{Kind: FilterClogging, Level: 0.78, From: ago(7 * 24 * time.Hour), Grow: int64(8 * 24 * time.Hour)}}
	clog.Rhythm.Zone = south

	uneven := doubling(Southmill, "packing", "pack-1", "a station whose two strokes differ", 11)
	uneven.Faults = []Fault{{Kind: Uneven, Level: 0.35}}
	uneven.Sensors.Rate = 50
	uneven.Rhythm.Zone = south

	counter := doubling(Southmill, "packing", "pack-2", "only a counter and one reading a second", 12)
	counter.Sensors.Rate = 1
	counter.Rhythm.Zone = south
	counter.Style = payload.Plain

	return []Spec{even, four, narrow, leak, left, clog, uneven, counter}, nil
}

// Find returns the spec of a station by "station" or "site/station".
func Find(specs []Spec, name string) (Spec, error) {
	i, err := find(len(specs), func(i int) station.Key { return specs[i].Plate.Key }, name)
	if err != nil {
		return Spec{}, err
	}
	return specs[i], nil
}

// find returns which of n stations has the name.
func find(n int, key func(int) station.Key, name string) (int, error) {
	names := make([]string, n)
	for i := range n {
		k := key(i)
		if name == k.Station || name == k.String() {
			return i, nil
		}
		names[i] = k.String()
	}
	return 0, fmt.Errorf("cannot find the virtual station %.60q: there are %s", name, strings.Join(names, ", "))
}
