package config

import (
	"fmt"
	"math"

	"strokewise/analyzer/station"
)

// What a plate may hold before `check` asks whether it is meant. A plant can be like that, so none of it is refused. All bounds are
// common practice without source, wide enough that a third more or less changes nothing for boosters of 25 to 200 mm bore.
const (
	leastRatio    = 0.3  // drive over boost area: below it the booster raises the gauge pressure by less than a third
	mostRatio     = 8.0  // pneumatic boosters have 1 to 3; above 8 nobody drives with shop air
	leastOfBore   = 0.2  // stroke over the larger bore: less is a membrane
	mostOfBore    = 4.0  // more is a long cylinder, whose rod would buckle
	leastBore     = 0.01 // m; a piston of 10 mm has an area of 0.8 cm²
	quickestMove  = 3.0  // m/s of the piston at the highest stroke rate; cylinders are built for 0.5 to 1.5
	leastTank     = 0.1e-3
	leastOfStroke = 0.2   // of a stroke's boosted volume that the tank must hold: less cannot be told from a fitting
	mostOfStroke  = 50e3  // of them: such a tank would take a day to fill
	highestHeader = 1.6e6 // Pa gauge of shop air: compressors of workshops end at 10 to 15 bar
	lowestSet     = 100e3 // Pa gauge
	leastPipe     = 2e-3  // m, of a supply line
)

// implausible warns of plate data that hardly any booster has: most are a slip of a digit or a unit.
func (m *mapping) implausible(booster, tank, supply *mapping, p *station.Plate) {
	booster.implausibleBores(p)
	booster.implausibleMoves(p)
	tank.implausibleTank(p)
	booster.implausibleSet(p)
	if b := p.SupplyBore; b > 0 && b < leastPipe {
		supply.odd("bore", fmt.Sprintf("is %.3g mm: less than any supply line", 1e3*b))
	}
}

// odd warns of a value that is hardly meant.
func (m *mapping) odd(key, problem string) {
	m.warn(key, problem, "the value on the name plate: check digits and unit", "")
}

// implausibleBores warns of pistons that do not belong together.
func (m *mapping) implausibleBores(p *station.Plate) {
	drive, boost := p.DriveBore, p.BoostBore()
	switch r := p.AreaRatio; {
	case r > 0 && (r < leastRatio || r > mostRatio) && drive > 0:
		m.odd("drive_bore", fmt.Sprintf("gives a drive piston of %.3g times the area of the boost piston; boosters have %.1f to %.0f times", r, leastRatio, mostRatio))
	case r > 0 && (r < leastRatio || r > mostRatio):
		m.odd("swept_drive", fmt.Sprintf("is %.3g times swept_boost; boosters have %.1f to %.0f times", r, leastRatio, mostRatio))
	}
	for _, x := range [...]struct {
		key  string
		bore float64
	}{{"drive_bore", drive}, {"boost_bore", boost}} {
		if x.bore > 0 && x.bore < leastBore {
			m.odd(x.key, fmt.Sprintf("is %.3g mm: too small for a booster", 1e3*x.bore))
		}
	}
	if bore := max(drive, boost); bore > 0 && p.StrokeLen > 0 && (p.StrokeLen < leastOfBore*bore || p.StrokeLen > mostOfBore*bore) {
		m.odd("stroke", fmt.Sprintf("is %.3g mm at a bore of %.3g mm; boosters have %.1f to %.0f bores", 1e3*p.StrokeLen, 1e3*bore, leastOfBore, mostOfBore))
	}
}

// implausibleMoves warns of a piston that would be too quick.
func (m *mapping) implausibleMoves(p *station.Plate) {
	if v := p.MaxRate * p.StrokeLen; v > quickestMove && m.has("max_stroke_rate") {
		m.odd("max_stroke_rate", fmt.Sprintf("moves the piston at %.3g m/s; pneumatic pistons end at %.0f m/s", v, quickestMove))
	}
}

// implausibleTank warns of a tank that is none, or that no booster fills.
func (m *mapping) implausibleTank(p *station.Plate) {
	v, stroke := p.TankVolume, p.SweptBoost
	switch {
	case v <= 0:
	case v < leastTank, stroke > 0 && v < leastOfStroke*stroke:
		m.odd("volume", fmt.Sprintf("is %.3g L: less than pipe and fittings hold", 1e3*v))
	case stroke > 0 && v > mostOfStroke*stroke:
		m.odd("volume", fmt.Sprintf("is %.3g L at %.3g L a stroke: no booster fills that within a day", 1e3*v, 1e3*stroke))
	}
}

// implausibleSet warns of a set pressure that no header reaches with this booster, by the balance of forces without friction
//
//	set <= p1 (1 + A_d/A_b)
func (m *mapping) implausibleSet(p *station.Plate) {
	set := float64(p.Set)
	switch most := highestHeader * (1 + p.AreaRatio); {
	case set > 0 && set < lowestSet:
		m.odd("set_pressure", fmt.Sprintf("is %.3g kPa gauge: less than any header", set/1e3))
	case p.AreaRatio > 0 && set > most:
		m.odd("set_pressure", fmt.Sprintf("is above %.0f kPa gauge, which these bores reach at a header of %.0f kPa gauge at most", math.Round(most/1e3), highestHeader/1e3))
	}
}
