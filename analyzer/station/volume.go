package station

// Reference is the condition at which a volume of air is stated.
type Reference uint8

// The reference conditions.
const (
	ANR    Reference = iota // ISO 8778: 20 °C, 100 kPa, 65 % RH
	Normal                  // DIN 1343: 0 °C, 101.325 kPa
)

// String gives the name used in configuration, output and metric labels.
func (r Reference) String() string {
	if r == Normal {
		return "normal"
	}
	return "anr"
}

// PerANR gives the volume at reference r of the air that fills one unit at ANR:
// (100/101.325)(273.15/293.15) for Normal, by the ideal gas law. The humidity of ANR
// is ignored (0.3 %).
func (r Reference) PerANR() float64 {
	if r == Normal {
		return 100.0 / 101.325 * 273.15 / 293.15
	}
	return 1
}

// Microlitres is a volume of air at ANR. Sums are kept in whole microlitres so that
// they do not depend on the order of addition.
type Microlitres int64

// Litres gives the volume in litres ANR.
func (v Microlitres) Litres() float64 { return float64(v) / 1e6 }

// CubicMetres gives the volume in m³ ANR.
func (v Microlitres) CubicMetres() float64 { return float64(v) / 1e9 }

// MicrolitresOf converts litres ANR, rounding to the nearest microlitre.
func MicrolitresOf(litres float64) Microlitres {
	if litres < 0 {
		return Microlitres(litres*1e6 - 0.5)
	}
	return Microlitres(litres*1e6 + 0.5)
}
