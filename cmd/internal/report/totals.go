package report

import (
	"fmt"

	"strokewise/analyzer/station"
)

// Totals are sums over the whole trace. Strokes and air are sums over the minutes in which they
// are known; where that is none they are null, with an entry in Reason.
type Totals struct {
	Strokes *int64   `json:"strokes"`
	Cycles  *float64 `json:"cycles"`
	// StrokesOf and AirOf are the minutes over which strokes and air are summed, and all minutes, those without a sample included.
	// Where these differ, Reason has an entry of the field's name.
	StrokesOf     [2]int            `json:"strokes_known_minutes"`
	AirOf         [2]int            `json:"air_known_minutes"`
	Duty          *float64          `json:"duty"`
	DutyBand      *[2]float64       `json:"duty_band"` // 90 %
	Stroking      float64           `json:"stroking_s"`
	Holding       float64           `json:"holding_s"`
	Starved       float64           `json:"starved_s"`
	Charging      float64           `json:"charging_s"`
	Off           float64           `json:"off_s"`
	Venting       float64           `json:"venting_s"`
	Residual      float64           `json:"residual_s"`
	Blind         float64           `json:"blind_s"`
	Inlet         *float64          `json:"inlet_air_l"`
	Exhaust       *float64          `json:"exhaust_air_l"`
	Delivered     *float64          `json:"delivered_air_l"`
	InletBand     *[2]float64       `json:"inlet_air_l_band"`
	DeliveredBand *[2]float64       `json:"delivered_air_l_band"`
	Reason        map[string]string `json:"reason,omitempty"`
}

func totals(ms []station.Minute, gs []station.Gap, litre float64) Totals {
	var ns [station.NumStates]int64
	var t sums
	all := len(ms)
	for i := range ms {
		t.add(&ms[i])
		for s := range ns {
			ns[s] += ms[i].StateNs[s]
		}
	}
	for _, g := range gs {
		ns[station.Blind] += g.Ns()
		all += int(g.Minutes())
		t.unknown(noSample, noSample)
	}
	sec := func(s station.State) float64 { return float64(ns[s]) / 1e9 }
	out := Totals{
		Stroking: sec(station.Stroking), Holding: sec(station.Holding), Starved: sec(station.Starved),
		Charging: sec(station.Charging), Off: sec(station.Off), Venting: sec(station.Venting),
		Residual: sec(station.Residual), Blind: sec(station.Blind), Reason: map[string]string{},
		StrokesOf: [2]int{t.strokesIn, all}, AirOf: [2]int{t.airIn, all},
	}
	if d, ok := station.Duty(ns); ok {
		out.Duty, out.DutyBand = &d, t.dutyBand(ns)
	} else {
		out.Reason["duty"] = "the inlet was never fed"
	}
	t.fill(&out, litre)
	return out
}

// sums adds the minutes in which strokes, or air, are known.
type sums struct {
	strokes                   int64
	strokesIn, airIn          int // minutes that were added
	inlet, exhaust, delivered station.Microlitres
	inLow, inHigh             station.Microlitres
	delLow, delHigh           station.Microlitres
	strokeLow, strokeHigh     int64  // ns, band of the stroking time
	strokesWhy, airWhy        string // why the first of the others is unknown
}

// dutyBand returns the band of the duty over the times of states ns: the sum of the minutes' bands. It is
// nil of minutes without.
func (t *sums) dutyBand(ns [station.NumStates]int64) *[2]float64 {
	fed := float64(ns[station.Charging] + ns[station.Stroking] + ns[station.Holding] + ns[station.Starved])
	if t.strokeHigh == 0 {
		return nil
	}
	return &[2]float64{float64(t.strokeLow) / fed, float64(t.strokeHigh) / fed}
}

// noSample is why minutes of a gap are unknown.
const noSample = "no sample in these minutes"

func (t *sums) add(m *station.Minute) {
	t.strokeLow, t.strokeHigh = t.strokeLow+m.StrokingLow, t.strokeHigh+m.StrokingHigh
	if m.StrokeMethod != station.MethodNone {
		t.strokes += m.Strokes
		t.strokesIn++
	} else {
		t.unknown(m.AirReason, "")
	}
	if m.AirReason != "" {
		t.unknown("", m.AirReason)
		return
	}
	t.airIn++
	t.inlet, t.exhaust, t.delivered = t.inlet+m.Inlet, t.exhaust+m.Exhaust, t.delivered+m.Delivered
	t.inLow, t.inHigh = t.inLow+m.InletLow, t.inHigh+m.InletHigh
	t.delLow, t.delHigh = t.delLow+m.DeliveredLow, t.delHigh+m.DeliveredHigh
}

// unknown notes why strokes and air of a minute are unknown, if it is the first.
func (t *sums) unknown(strokes, air string) {
	if t.strokesWhy == "" {
		t.strokesWhy = strokes
	}
	if t.airWhy == "" {
		t.airWhy = air
	}
}

// fill sets the sums, or why there are none.
func (t *sums) fill(out *Totals, litre float64) {
	if t.strokesIn > 0 {
		c := float64(t.strokes) / 2
		out.Strokes, out.Cycles = &t.strokes, &c
	}
	if t.airIn > 0 {
		out.Inlet, out.Exhaust, out.Delivered = scaled(t.inlet, litre), scaled(t.exhaust, litre), scaled(t.delivered, litre)
		out.InletBand = &[2]float64{t.inLow.Litres() * litre, t.inHigh.Litres() * litre}
		out.DeliveredBand = &[2]float64{t.delLow.Litres() * litre, t.delHigh.Litres() * litre}
	}
	out.unknown("strokes", out.StrokesOf, t.strokesWhy)
	out.unknown("air", out.AirOf, t.airWhy)
}

// unknown notes why a sum is unknown, or why some of its minutes are.
func (o *Totals) unknown(name string, of [2]int, why string) {
	if why == "" {
		why = "no minutes yet"
	}
	switch {
	case of[0] == 0:
		o.Reason[name] = why
	case of[0] < of[1]:
		o.Reason[name+"_known_minutes"] = why
	}
}

// partly returns the words that a sum of some of the minutes stands with, "" where it is of all.
func partly(of [2]int) string {
	if of[0] == of[1] {
		return ""
	}
	return fmt.Sprintf("of %d of %d minutes", of[0], of[1])
}
