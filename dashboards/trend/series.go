package trend

import (
	"math"
	"slices"
	"time"

	"strokewise/analyzer/signal"
	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
)

// DutyLimit is that of the alarm duty-high (common practice, no source).
const DutyLimit = 0.9

// Kind says what a series of days is.
type Kind struct {
	Name   string  // in JSON and tables
	Title  string  // for people
	Unit   string  // SI unit of the values
	Shown  string  // unit that people read
	Factor float64 // from Unit to Shown
	Places int     // decimals
	What   string
	Limit  float64 // whose passing is told, in Unit; 0: none
}

// Of a day count only if they last at least so long, ns.
const (
	leastFed  = 60 * station.Minute60
	leastLeak = 10 * station.Minute60
)

// sum is a kind that comes from the hours' sums.
type sum struct {
	Kind
	value func(*history.Hour) float64 // NaN: not known
}

// sums are the series of the hours' sums. They reach back to the first hour that is kept.
var sums = []sum{
	{Kind{Name: "duty", Title: "Duty", Unit: "1", Shown: "%", Factor: 100, Places: 1, Limit: DutyLimit,
		What: "share of the fed time of a day in which the piston worked"}, dutyOf},
	{Kind{Name: "starved_share", Title: "Starved", Unit: "1", Shown: "% of fed time", Factor: 100, Places: 2,
		What: "share of the fed time of a day in which the inlet was too low to stroke"}, starvedOf},
	{Kind{Name: "stroke_rate", Title: "Strokes per hour watched", Unit: "1/s", Shown: "/h", Factor: 3600, Places: 0,
		What: "mean of a day, all states but blind"}, strokesOf},
	{Kind{Name: "inlet_air", Title: "Inlet air while watched", Unit: "m³/s", Shown: "L/min ANR", Factor: 60e3, Places: 1,
		What: "mean of a day: what the station costs"}, inletOf},
	{Kind{Name: "delivered_air", Title: "Delivered air while watched", Unit: "m³/s", Shown: "L/min ANR", Factor: 60e3, Places: 1,
		What: "mean of a day: what the branch takes, leaks included"}, deliveredOf},
}

func dutyOf(h *history.Hour) float64 {
	d, ok := station.Duty(h.StateNs)
	if !ok || fed(h) < leastFed {
		return math.NaN()
	}
	return d
}

func fed(h *history.Hour) int64 {
	return h.StateNs[station.Charging] + h.StateNs[station.Stroking] + h.StateNs[station.Holding] + h.StateNs[station.Starved]
}

func starvedOf(h *history.Hour) float64 {
	if fed(h) < leastFed {
		return math.NaN()
	}
	return float64(h.StateNs[station.Starved]) / float64(fed(h))
}

// watched gives the time in which something was known, s.
func watched(h *history.Hour) float64 { return float64(h.Covered-h.StateNs[station.Blind]) * 1e-9 }

func strokesOf(h *history.Hour) float64 {
	if h.Uncounted > 0 || watched(h) <= 0 {
		return math.NaN()
	}
	return float64(h.Strokes) / watched(h)
}

func inletOf(h *history.Hour) float64 {
	if h.Airless > 0 || watched(h) <= 0 {
		return math.NaN()
	}
	return h.Inlet.CubicMetres() / watched(h)
}

func deliveredOf(h *history.Hour) float64 {
	if h.Airless > 0 || watched(h) <= 0 {
		return math.NaN()
	}
	return h.Delivered.CubicMetres() / watched(h)
}

// slow are the figures whose daily medians are shown: those that wear, clogging or drift
// change. Plate data, bounds and what is itself a trend are left out.
var slow = []station.Figure{
	station.LeakFlow, station.InternalLeak, station.SupplySag, station.HeaderSag, station.LineSag, station.HeaderStatic,
	station.SupplyConductance, station.ReachablePressure, station.VolumetricEfficiency, station.StrokeDelivery,
	station.InletOverDelivered, station.MeterRatio, station.Load, station.FreeCapacity, station.StartsHour,
	station.StrokeUnevenness, station.Pulsation, station.InletZero, station.OutletZero, station.OutletOffset,
	station.InletNoise, station.OutletNoise, station.CountMismatch,
}

// dayOf gives the day of an instant in a zone.
func dayOf(t station.Instant, zone *time.Location) int64 {
	y, m, d := t.Time().In(zone).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400
}

// daily sums the hours up by days of the zone.
func daily(hours []history.Hour, zone *time.Location) (numbers []int64, days []history.Hour) {
	for i := range hours {
		h := &hours[i]
		n := dayOf(h.Start, zone)
		at, ok := slices.BinarySearch(numbers, n)
		if !ok {
			numbers, days = slices.Insert(numbers, at, n), slices.Insert(days, at, history.Hour{})
		}
		d := &days[at]
		d.Covered += h.Covered
		for s, ns := range h.StateNs {
			d.StateNs[s] += ns
		}
		d.Strokes, d.Uncounted, d.Airless = d.Strokes+h.Strokes, d.Uncounted+h.Uncounted, d.Airless+h.Airless
		d.Inlet, d.Delivered = d.Inlet+h.Inlet, d.Delivered+h.Delivered
		d.LeakSum, d.LeakTime = d.LeakSum+h.LeakSum, d.LeakTime+h.LeakTime
	}
	return numbers, days
}

// ofSums makes the series of the hours' sums. Days watched for less than half of the usual
// time are left out: the collector was away, or the day is not over.
func ofSums(numbers []int64, days []history.Hour) [][]Day {
	w := make([]float64, len(days))
	for i := range days {
		w[i] = watched(&days[i])
	}
	usual := signal.Median(w)
	out := make([][]Day, len(sums))
	for k := range sums {
		for i := range days {
			if v := sums[k].value(&days[i]); w[i] >= usual/2 && !math.IsNaN(v) {
				out[k] = append(out[k], Day{numbers[i], v})
			}
		}
	}
	return out
}

// ofFigure makes the series of a figure from its hours: the median of each day. For a leak,
// days before the first figure that is kept come from the hours' means.
func ofFigure(f station.Figure, kept []station.HourFigure, zone *time.Location, numbers []int64, days []history.Hour) []Day {
	var all []Day
	by := make(map[int64][]float64)
	var order []int64
	for i := range kept {
		if kept[i].Figure != f {
			continue
		}
		n := dayOf(kept[i].Hour, zone)
		if by[n] == nil {
			order = append(order, n)
		}
		by[n] = append(by[n], kept[i].Value)
	}
	slices.Sort(order)
	if f == station.LeakFlow {
		for i, n := range numbers {
			if v, _, _, ok := days[i].Leak(); ok && days[i].LeakTime >= leastLeak && (len(order) == 0 || n < order[0]) {
				all = append(all, Day{n, v})
			}
		}
	}
	for _, n := range order {
		all = append(all, Day{n, signal.Median(by[n])})
	}
	return all
}
