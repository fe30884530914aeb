package engine

import (
	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// fallenBasis is what a header was computed from that fell while the piston worked.
type fallenBasis struct{ In, Sag float64 } // inlet, Pa gauge; sag that was learned before

// basis keeps the few numbers that figures were last obtained from and that nothing else
// keeps, for Explain. Fields are exported for snapshots only.
type basis struct {
	Fallen    fallenBasis
	From, To  station.Instant // standing window of the last accepted fit
	Window    float64         // Pa abs, its mean outlet
	Points    int
	Rate      float64 // 1/s
	Low, High float64 // its 90 % band
	Theta     float64 // thermal term
	TauTh     float64 // s
	Residual  float64 // share of the pressure
	Shape     air.Shape
	Pressure  float64 // Pa abs, at which the flow is stated
	Creep     float64 // m³ that the standing booster may have added to the tank meanwhile

	Flow    float64 // m³/s ANR that strokes made up
	Outlet  float64 // Pa abs meanwhile
	Minutes int     // steady ones it was taken over, or
	Rounds  int     // rounds of recharging and standing

	Growth  float64 // Pa abs, at which the leak's growth is stated
	Inlet   inletBasis
	Inside  insideBasis
	Header  headerBasis
	Line    lineBasis
	Quiet   delivery
	Tank    float64 // m³, that Quiet was judged with, 0: none
	Load    loadBasis
	Starts  startsBasis
	Reach   reachBasis
	Worn    int64    // strokes since the booster is watched
	Compare compared // of the count's last comparison

	Recalled station.Instant // figures up to then were recalled, and what they were obtained from is not known; 0: none
}

// inletBasis is the fall of the closed inlet: of ln p1, 1/s, with its standard error, and the
// resting pressure at which the loss is stated, Pa gauge.
type inletBasis struct{ Rate, Err, Rest float64 }

// insideBasis is the flows, m³/s ANR, whose difference is lost inside the booster.
type insideBasis struct {
	Strokes, Outlet float64
	Window          bool // the outlet's by a standing window, else by the falls between rounds
}

// headerBasis is how the sag was split: by the header's sensor, or by rests before and after a
// run; the static pressure, Pa gauge.
type headerBasis struct {
	Static         float64
	Sensor, Rested bool
}

// lineBasis is the pressures, Pa abs, before and behind the supply line, those that the limit
// allows, and the factor by which more would flow then.
type lineBasis struct{ Up, Now, Least, More float64 }

// loadBasis is what load and free capacity were taken at: Pa abs, strokes a second, s, m³/s ANR.
type loadBasis struct{ P1, P2, Rate, Unit, Up, Need, Most, Has float64 }

// reachBasis is the inlet while the piston works and the friction, Pa gauge and Pa.
type reachBasis struct{ Dynamic, Loss float64 }

// startsBasis is starts and minutes watched.
type startsBasis struct{ Hour, Watched, Short int }

// decay notes the window and the fit that gave the leak.
func (b *basis) decay(l *leakWatch, d *air.Decay, at station.Instant) {
	b.From, b.To, b.Points = l.From, at, len(l.T)
	b.Rate, b.Low, b.High, b.Theta, b.TauTh = d.Rate, d.Low, d.High, d.Theta, d.TauTh
	b.Residual, b.Shape = d.Residual, d.Shape
}

// makeup notes what gave a leak by strokes.
func (b *basis) makeup(l *leakWatch, r *rounds, flow, p float64) {
	b.Flow, b.Outlet, b.Minutes, b.Rounds = flow, p, 0, 0
	if l.Steady >= steadyMinutes {
		b.Minutes = l.Steady
	} else {
		b.Rounds = r.Kept
	}
}
