package air

import "math"

// Temperatures of the air that a booster draws, K.
const (
	// PlantColdest and PlantHottest bound what is taken where nothing is known of it: -10 and
	// 40 °C (own choice, no source).
	PlantColdest = 263.15
	PlantHottest = 313.15
	// GivenBand is the half-width of the 90 % band of a temperature that a person gave, K: days and
	// seasons (own choice, no source).
	GivenBand = 5.0
	// ReadBand is the same of one that was read at the tank, K: compression warms the tank's air,
	// and the booster draws it colder (own choice, no source).
	ReadBand = 10.0
)

// Temperature is that of the air drawn in, with its 90 % band, K. The mass in a volume at a
// pressure goes with 1/T, so does its volume at ANR.
type Temperature struct {
	K, Low, High float64
	Bounds       bool // nothing but the bounds is known: any value between them is as likely
}

// UnknownTemperature returns ANR's temperature with the range of plants as its band.
func UnknownTemperature() Temperature { return Temperature{T0ANR, PlantColdest, PlantHottest, true} }

// About returns a temperature k with a band of half-width half, both K.
func About(k, half float64) Temperature { return Temperature{K: k, Low: k - half, High: k + half} }

// Density returns the density of the air over that at 20 °C and the same pressure, T_0/T: the
// volume at ANR of what fills a volume at p is Density() V p/p_0.
func (t Temperature) Density() float64 { return T0ANR / t.K }

// Root returns sqrt(T_0/T), by which choked flow (ISO 6358) differs from that at 20 °C.
func (t Temperature) Root() float64 { return math.Sqrt(T0ANR / t.K) }

// Widen adds to a band what the temperature's own does to a figure that goes with
// (T_0/T)^power. Two errors have nothing to do with each other: squares are added. Where only
// bounds are known, the band is that at any temperature between them.
func (t Temperature) Widen(r Range, power float64) Range {
	less, more := 1-math.Pow(t.K/t.High, power), math.Pow(t.K/t.Low, power)-1
	if t.Bounds {
		return Range{r.Value, r.Low * (1 - less), r.High * (1 + more)}
	}
	return Range{r.Value, r.Value - math.Hypot(r.Value-r.Low, less*r.Value), r.Value + math.Hypot(r.High-r.Value, more*r.Value)}
}

// At returns the air of a stroke, computed for 20 °C, at a temperature. A flow meter measures
// mass: what it taught has the temperature's error in it, so metered inlet air keeps its band.
func (s StrokeAir) At(t Temperature, metered bool) StrokeAir {
	d := t.Density()
	for _, v := range [...]*float64{&s.Plain, &s.Least, &s.Above[0], &s.Above[1], &s.Above[2]} {
		*v *= d
	}
	s.Boost, s.Drive, s.Inlet = t.Widen(s.Boost.times(d), 1), t.Widen(s.Drive.times(d), 1), s.Inlet.times(d)
	if !metered {
		s.Inlet = t.Widen(s.Inlet, 1)
	}
	return s
}

func (r Range) times(k float64) Range { return Range{k * r.Value, k * r.Low, k * r.High} }
