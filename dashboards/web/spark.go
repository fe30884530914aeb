package web

import (
	"math"
	"strconv"

	"strokewise/analyzer/station"
	"strokewise/dashboards/live"
)

// sparkView is a small line of inlet and outlet: points of polylines, one for each stretch
// without a gap, and what they show in words.
type sparkView struct {
	Inlet, Outlet []string
	Text          string
}

// The small line's own units, and the least pressure (Pa) that its height shows, so that
// noise does not look like work.
const (
	sparkWidth, sparkHeight = 240, 40
	sparkLeast              = 100e3
)

// spark draws two lines over the span (ns) that ends at to; nil where there is nothing to
// draw.
func spark(inlet, outlet *live.Line, to station.Instant, span int64, in station.Reading) *sparkView {
	inLow, inHigh, inOK := extremes(inlet)
	outLow, outHigh, outOK := extremes(outlet)
	if !inOK && !outOK {
		return nil
	}
	low, high := min(inLow, outLow), max(inHigh, outHigh)
	if short := sparkLeast - (high - low); short > 0 {
		low, high = low-short/2, high+short/2
	}
	place := func(t station.Instant, v float32) string {
		x := sparkWidth * (1 - float64(to.Sub(t))/float64(span))
		y := (sparkHeight - 2) * (1 - (float64(v)-low)/(high-low))
		return strconv.Itoa(int(math.Round(min(max(x, 0), sparkWidth)))) + "," + strconv.Itoa(1+int(math.Round(y)))
	}
	v := &sparkView{Inlet: polylines(inlet, place), Outlet: polylines(outlet, place), Text: "Last " + minutes(span) + ":"}
	v.Text += " " + reach("inlet (dashed)", inLow, inHigh, inOK, in) + ", " + reach("outlet (solid)", outLow, outHigh, outOK, in) + "."
	return v
}

// minutes gives a length of time in one unit.
func minutes(ns int64) string { return strconv.FormatInt(ns/station.Minute60, 10) + " min" }

func reach(name string, low, high float64, ok bool, in station.Reading) string {
	if !ok {
		return name + " unknown"
	}
	return name + " " + in.Number(low) + " to " + in.Gauge(high)
}

// extremes gives the least and the greatest value of a line, infinities the wrong way
// round where there is none.
func extremes(l *live.Line) (low, high float64, ok bool) {
	low, high = math.Inf(1), math.Inf(-1)
	for i := range l.At {
		if v := float64(l.Low[i]); finite(v) {
			low, high, ok = min(low, v), max(high, float64(l.High[i])), true
		}
	}
	return low, high, ok
}

func polylines(l *live.Line, place func(station.Instant, float32) string) []string {
	var all []string
	var points []byte
	flush := func() {
		if len(points) > 0 {
			all = append(all, string(points))
		}
		points = nil
	}
	for i, t := range l.At {
		if math.IsNaN(float64(l.Low[i])) {
			flush()
			continue
		}
		if len(points) > 0 {
			points = append(points, ' ')
		}
		points = append(points, place(t.Add(l.Step/2), (l.Low[i]+l.High[i])/2)...)
	}
	flush()
	return all
}

// lately draws a station's small line, nil where nothing came.
func (s *site) lately(k station.Key, in station.Reading) *sparkView {
	if s.Live == nil {
		return nil
	}
	inlet, outlet, to := s.Live.Lines(k)
	return spark(&inlet, &outlet, to, 30*station.Minute60, in)
}
