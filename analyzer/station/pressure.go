package station

// Gauge is a pressure relative to the surrounding atmosphere, in Pa: what people read.
type Gauge float64

// Absolute is a pressure relative to vacuum, in Pa: what equations take.
type Absolute float64

// StandardAtmosphere is the ambient pressure used where the plate gives none
// (ISO 2533, sea level).
const StandardAtmosphere Absolute = 101325

// P0ANR is the pressure of ANR, ISO 8778: 20 °C, 100 kPa, 65 % relative humidity.
const P0ANR Absolute = 100e3

// Absolute converts to absolute pressure at the given ambient pressure.
func (g Gauge) Absolute(ambient Absolute) Absolute { return Absolute(g) + ambient }

// Gauge converts to gauge pressure at the given ambient pressure.
func (p Absolute) Gauge(ambient Absolute) Gauge { return Gauge(p - ambient) }

// KPa gives the pressure in kPa gauge.
func (g Gauge) KPa() float64 { return float64(g) / 1e3 }
