package web

import (
	"time"

	"strokewise/analyzer/station"
)

// entry is one datum of the plate; Value is "" where it was not given.
type entry struct{ Name, Value, Unit string }

// plate lists what was said of the station.
func plate(p *station.Plate) []entry {
	counts := [...]string{station.CountsCycles: "cycles (two strokes each)", station.CountsStrokes: "strokes"}
	sensor := [...]string{station.AtTank: "at the tank", station.AtBooster: "at the booster", station.AtBranch: "at the branch, behind the regulator"}
	cadence := [...]string{station.Periodic: "periodically", station.OnChange: "on change"}
	in := p.Reading
	governor := "fitted"
	if p.Ungoverned {
		governor = "none: it strokes until the forces balance"
	}
	return []entry{
		text("Serial number", p.Serial), text("Installed", p.Installed), text("Overhauled", p.Overhauled),
		given("Drive bore", "mm", p.DriveBore*1e3, 1), given("Stroke", "mm", p.StrokeLen*1e3, 1),
		given("Area ratio, drive to boost", "", p.AreaRatio, 2),
		given("Swept volume, drive side", "L a stroke", p.SweptDrive*1e3, 3), given("Swept volume, boost side", "L a stroke", p.SweptBoost*1e3, 3),
		given("Highest stroke rate", "/min", p.MaxRate*60, 0), gauge(in, "Set pressure", p.Set), text("Governor", governor), gauge(in, "Drive side regulator set", p.DriveSet),
		text("Tank shared, named", p.Tank), text("Told of the tank at", p.TankAt),
		given("Tank volume", "L", p.TankVolume*1e3, 0), gauge(in, "Tank, name-plate pressure", p.TankPS), gauge(in, "Relief valve set", p.Relief),
		text("Next inspection", p.Inspection),
		given("Supply line bore", "mm", p.SupplyBore*1e3, 1), given("Supply line length", "m", p.SupplyLength, 1),
		text("Supply line", map[bool]string{true: "shared with another booster"}[p.LineShared]),
		gauge(in, "Branch regulator set", p.RegulatorSet), gauge(in, "Required at the branch", p.Required), gauge(in, "Hose limit", p.HoseLimit),
		given("Base demand, meant at all times", "L/min ANR", p.BaseDemand*60e3, 1),
		given("Leak limit", "L/min ANR", p.LeakLimit*60e3, 1), given("Sag limit", "%", p.SagLimit*100, 0),
		{"Ambient pressure", number(float64(p.AmbientPressure())*in.Scale(), in.Decimals()+1), ambientUnit(p)},
		temperature("Air drawn in", p.AirTemperature),
		text("Outlet sensor", sensor[p.Sensor%3]), text("Counter counts", counts[p.Counts%2]), text("Sensors publish", cadence[p.Cadence%2]),
		given("Waiting for late samples", "s", orUsual(p.Lateness, 2*time.Second).Seconds(), 1),
	}
}

func text(name, value string) entry { return entry{name, value, ""} }

func given(name, unit string, v float64, decimals int) entry {
	if v == 0 || !finite(v) {
		return entry{Name: name}
	}
	return entry{name, number(v, decimals), unit}
}

func temperature(name string, kelvin float64) entry {
	if kelvin <= 0 || !finite(kelvin) {
		return entry{Name: name}
	}
	return entry{name, number(kelvin-273.15, 0), "°C"}
}

func gauge(in station.Reading, name string, p station.Gauge) entry {
	return given(name, gaugeUnit(in), float64(p)*in.Scale(), in.Decimals())
}

func ambientUnit(p *station.Plate) string {
	if p.Ambient > 0 {
		return p.Reading.String() + " absolute"
	}
	return p.Reading.String() + " absolute, the standard one: not given"
}

func orUsual(d, usual time.Duration) time.Duration {
	if d <= 0 {
		return usual
	}
	return d
}
