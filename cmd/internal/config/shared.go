package config

import (
	"fmt"

	"strokewise/analyzer/station"
)

// tankKey names a shared tank within the file.
type tankKey struct{ site, tank string }

// shared reads the name of a tank that several stations of the site fill. The first of them speaks for the tank, and
// gives the others its volume. Two that state different volumes are a fault.
func (m *mapping) shared(p *station.Plate) {
	if !m.has("shared") || !m.name("shared", "hall-3", &p.Tank) {
		return
	}
	k := tankKey{p.Key.Site, p.Tank}
	f := m.d.tanks[k]
	if f == nil {
		first := *p
		m.d.tanks[k] = &first
		return
	}
	if p.TankAt = f.Key.Station; p.TankVolume == 0 {
		p.TankVolume = f.TankVolume
	}
	if f.TankVolume > 0 && p.TankVolume != f.TankVolume {
		m.fail("volume", fmt.Sprintf("is %g L, and %s, which has the same tank, states %g L", p.TankVolume*1e3, f.Key.Station, f.TankVolume*1e3), "one volume for one tank", "")
	}
}
