package model

// Totals are what a station did since it was made: air in litres ANR, times in seconds.
type Totals struct {
	Strokes int // ended; side a ends the first, b the second
	Second  int // strokes of the second booster

	Inlet     float64 // drawn from the header
	Exhaust   float64 // driving air let out by the changeover valve
	Delivered float64 // by all boosters to the outlet, less what leaked back
	Demand    float64 // taken by the consumers
	Leak      float64 // lost by Leaks.Tank, Leaks.Hose and Leaks.Branch
	LineLeak  float64 // lost by Leaks.Line and Supply.Dump
	Relief    float64 // blown off by the relief valve and the vent valve
	Resized   float64 // left out when Tank.Volume or Supply.Volume was changed (either sign)

	// Times by the one definition of duty: Fed = Stroking + Holding + Starved.
	Fed      float64 // s with the supply open and the inlet above FedAbove
	Stroking float64 // s of these in which the piston is faster than one stroke in SlowestStroke, or in changeover
	Charging float64 // s of Stroking in which the outlet comes up to set after it was empty or low
	Holding  float64 // s fed and not stroking, outlet at set: at least Set - Hysteresis - 5 kPa
	Starved  float64 // s fed and not stroking, outlet below that
}

// perLitre is kg in a litre ANR.
const perLitre = refRho / 1000

// litres is the totals with kg turned into litres ANR.
func (t Totals) litres() Totals {
	for _, v := range []*float64{&t.Inlet, &t.Exhaust, &t.Delivered, &t.Demand, &t.Leak, &t.LineLeak, &t.Relief, &t.Resized} {
		*v /= perLitre
	}
	return t
}

// Stroke is the end of a stroke.
type Stroke struct {
	At   float64 // s
	Side uint8   // 0 for a, 1 for b
}

// maxRecent bounds how many ended strokes wait to be taken.
const maxRecent = 64

// recent keeps the latest strokes; the oldest give way. No slice, so that a Station can
// be copied.
type recent struct {
	ring [maxRecent]Stroke
	n    int // ever added
	read int // ever taken, or lost
}

func (r *recent) add(s Stroke) {
	r.ring[r.n%maxRecent] = s
	r.n++
	r.read = max(r.read, r.n-maxRecent)
}

func (r *recent) take(to []Stroke) []Stroke {
	for ; r.read < r.n; r.read++ {
		to = append(to, r.ring[r.read%maxRecent])
	}
	return to
}
