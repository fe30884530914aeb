package config

import (
	"fmt"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// geometry is what a file says of a booster's inside, in m.
type geometry struct {
	drive, boost, rod, stroke float64
	throughDrive              bool // the rod takes area from the drive face
	throughBoost              bool // and from the boost face
}

// booster reads the booster. Its caller calls done.
func (m *mapping) booster(p *station.Plate) {
	g := geometry{throughBoost: true}
	bore := atMost(2.0, "2 m")
	quantity(m, "drive_bore", station.ParseLength, bore, &g.drive)
	quantity(m, "boost_bore", station.ParseLength, bore, &g.boost)
	quantity(m, "rod", station.ParseLength, bore, &g.rod)
	quantity(m, "stroke", station.ParseLength, atMost(5.0, "5 m"), &g.stroke)
	m.flag("rod_through_drive", &g.throughDrive)
	m.flag("rod_through_boost", &g.throughBoost)
	m.gauge("set_pressure", p, &p.Set)
	m.governor(p)
	m.gauge("drive_regulator", p, &p.DriveSet)
	m.text("serial", &p.Serial, "the booster's serial number", "serial: B-2291")
	m.date("overhauled", &p.Overhauled)
	if m.thick(&g) {
		g.apply(p)
		m.rodless(&g)
	}
	m.swept(&g, p)
}

// thick reports a rod that does not fit its cylinders, and tells whether it fits.
func (m *mapping) thick(g *geometry) bool {
	for _, c := range [...]struct {
		key  string
		bore float64
	}{{"drive_bore", g.drive}, {"boost_bore", g.boost}} {
		if c.bore > 0 && g.rod >= c.bore {
			m.fail("rod", "is not thinner than "+c.key, "a rod that fits into the cylinder", "rod: 16 mm")
			return false
		}
	}
	return true
}

// apply computes what the geometry suffices for; the rest stays zero.
func (g *geometry) apply(p *station.Plate) {
	p.Bores(g.drive, g.boost, g.rod, g.stroke, g.throughDrive, g.throughBoost)
	drive := g.drive > 0 && (g.rod > 0 || !g.throughDrive)
	boost := g.boost > 0 && (g.rod > 0 || !g.throughBoost)
	if !drive || g.stroke == 0 {
		p.SweptDrive = 0
	}
	if !boost || g.stroke == 0 {
		p.SweptBoost = 0
	}
	if !drive || !boost {
		p.AreaRatio = 0
	}
}

// rodless warns where only the rod's diameter is missing.
func (m *mapping) rodless(g *geometry) {
	if g.rod == 0 && !m.has("rod") && (g.drive > 0 && g.throughDrive || g.boost > 0 && g.throughBoost) {
		m.warn("rod", "is missing, so the area that it takes is not known and neither is the air of a stroke",
			"the rod's diameter, or rod_through_boost: false where the boost face is full", "rod: 16 mm")
	}
}

// swept reads swept volumes, which may stand instead of bores and stroke.
func (m *mapping) swept(g *geometry, p *station.Plate) {
	limit := atMost(1.0, "1 m3")
	var drive, boost float64
	quantity(m, "swept_drive", station.ParseVolume, limit, &drive)
	quantity(m, "swept_boost", station.ParseVolume, limit, &boost)
	if drive == 0 && boost == 0 {
		return
	}
	for _, c := range [...]struct {
		key, bore string
		v, other  float64
	}{{"swept_drive", "drive_bore", drive, g.drive}, {"swept_boost", "boost_bore", boost, g.boost}} {
		if c.v > 0 && c.other > 0 && g.stroke > 0 {
			m.fail(c.key, fmt.Sprintf("is given, and %s with stroke as well", c.bore), "one of the two ways", "")
			return
		}
	}
	if drive > 0 {
		p.SweptDrive = drive
	}
	if boost > 0 {
		p.SweptBoost = boost
	}
	if p.SweptDrive > 0 && p.SweptBoost > 0 {
		p.AreaRatio = p.SweptDrive / p.SweptBoost // one stroke for both
	}
}

// contradictions warns of pressures that should not go together. A plant can be like that, and must be watched
// all the more then, so none of them is a fault of the file.
func (m *mapping) contradictions(booster, tank, limits *mapping, p *station.Plate) {
	set := p.Set
	above := func(v, limit station.Gauge) bool { return v > 0 && limit > 0 && v > limit }
	switch at := " booster.set_pressure" + atLine(booster, "set_pressure"); {
	case p.Relief > 0 && set >= p.Relief:
		tank.warn("relief_pressure", "is not above"+at+": the valve lifts before the governor stops the piston", "a set pressure a tenth below the relief valve's: check both name plates", "")
	case p.Relief > 0 && set > rules.SetUnderRelief*p.Relief:
		tank.warn("relief_pressure", "is less than a tenth above"+at+": once it has lifted the valve may not close again", "a set pressure a tenth below the relief valve's: check both name plates", "")
	}
	if above(set, p.TankPS) {
		tank.warn("ps", "is below booster.set_pressure"+atLine(booster, "set_pressure"), "a set pressure that the tank's name plate allows: check both", "")
	}
	if above(p.Required, set) {
		m.warn("required_pressure", "is above booster.set_pressure"+atLine(booster, "set_pressure")+": the branch does not get it", "", "")
	}
	if above(p.Relief, p.TankPS) {
		tank.warn("relief_pressure", "is above the name-plate pressure of the tank (ps)", "a valve that opens at ps or below: check both plates", "")
	}
	if above(set, p.HoseLimit) {
		limits.warn("hose", "is below booster.set_pressure"+atLine(booster, "set_pressure"), "hoses rated for what they carry: check them", "")
	}
	if above(p.RegulatorSet, set) {
		m.warn("regulator_set", "is above booster.set_pressure"+atLine(booster, "set_pressure")+": the regulator then regulates nothing", "", "")
	}
	if above(p.Required, p.RegulatorSet) {
		m.warn("required_pressure", "is above regulator_set: the branch does not get it", "", "")
	}
}

// atLine tells where a key is.
func atLine(m *mapping, key string) string {
	if n := m.at(key); n != nil {
		return fmt.Sprintf(" (line %d)", n.Line)
	}
	return ""
}
