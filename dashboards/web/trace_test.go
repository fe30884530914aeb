package web

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"net/http"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"strokewise/analyzer/station"
	"strokewise/dashboards/live"
)

// answer is a trace as a page reads it.
type answer struct {
	Key           string
	From, Now     float64
	Inlet, Outlet struct {
		Step         float64
		T, Low, High []*float64
	}
	Strokes   [][]any
	Intervals [][]any
	State     string
	Since     float64
	Note      string
}

func ask(t *testing.T, o Options, query string) answer {
	t.Helper()
	w := get(New(o), "/station/northdock/press-4/trace?"+query)
	var a answer
	if err := json.Unmarshal(w.Body.Bytes(), &a); err != nil || w.Code != http.StatusOK || w.Header().Get("Content-Type") != "application/json" {
		t.Fatalf("%s: status %d, %v: %.300s", query, w.Code, err, w.Body)
	}
	return a
}

func TestTraceFromTheRings(t *testing.T) {
	a := ask(t, everything(), "span=30")
	if a.Key != "northdock/press-4" || a.State != "stroking" || a.Now-a.From != 30 || len(a.Strokes) < 29 || len(a.Outlet.T) < 58 || len(a.Inlet.T) < 29 {
		t.Errorf("%+v", a)
	}
	if a.Strokes[0][1] != "a" && a.Strokes[0][1] != "b" || *a.Inlet.Low[0] != 594 {
		t.Errorf("stroke %v, inlet %v", a.Strokes[0], *a.Inlet.Low[0])
	}
	if a = ask(t, everything(), "span=1800"); len(a.Intervals) != 1 || a.Intervals[0][2] != "holding" || a.Outlet.Step != 2 {
		t.Errorf("intervals %v, step %g", a.Intervals, a.Outlet.Step)
	}
}

// minutesOf is a history with a minute of everything up to now.
type minutesOf struct{ fail error }

func (m minutesOf) Minutes(_ context.Context, _ station.Key, from, to station.Instant) (out []station.Minute, err error) {
	for t := from.Floor(station.Minute60); t < to; t = t.Add(station.Minute60) {
		out = append(out, station.Minute{Start: t, InletMean: 600e3, OutletMean: 800e3, OutletMax: 900e3, Strokes: 2, StrokeMethod: station.MethodBoth,
			Inlet: 3e6, InletLow: 2e6, InletHigh: 4e6, Delivered: 1e6, DeliveredLow: 5e5, DeliveredHigh: 2e6})
	}
	return out, m.fail
}

func (m minutesOf) Intervals(_ context.Context, _ station.Key, from, to station.Instant) (out []station.Interval, err error) {
	for t := from.Floor(station.Minute60); t < to; t = t.Add(20 * station.Second) {
		out = append(out, station.Interval{State: station.State(3 + int64(t)/station.Second/20%2), From: t, To: t.Add(20 * station.Second)})
	}
	return out, m.fail
}

func TestTraceFromTheHistory(t *testing.T) {
	o := everything()
	o.History = minutesOf{}
	for span, least := range map[string]int{"3600": 30, "28800": 470, "604800": 900} {
		a := ask(t, o, "span="+span)
		if n := len(a.Outlet.T); n < least || n > 2*mostPoints || len(a.Intervals) > mostStates+1 || a.Note == "" {
			t.Errorf("span %s: %d points, %d states, note %q", span, n, len(a.Intervals), a.Note)
		}
		for i := 1; i < len(a.Outlet.T); i++ {
			if *a.Outlet.T[i] <= *a.Outlet.T[i-1] {
				t.Fatalf("span %s: point %d is not later", span, i)
			}
		}
	}
	if a := ask(t, o, "span=28800"); *a.Outlet.Low[5] != 800 || *a.Outlet.High[5] != 900 || *a.Inlet.High[5] != 600 {
		t.Error("other values than the minutes'")
	}
	o.History = minutesOf{errors.New("cannot read minutes")}
	if w := get(New(o), "/station/northdock/press-4/trace?span=28800"); w.Code != http.StatusServiceUnavailable {
		t.Errorf("a broken history: status %d", w.Code)
	}
	if w := get(New(o), "/station/northdock/press-4"); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "cannot read minutes") {
		t.Errorf("a page with a broken history: status %d", w.Code)
	}
}

func TestTodaysSums(t *testing.T) {
	o := everything()
	o.History = minutesOf{}
	o.Zones = map[string]*time.Location{"northdock": time.FixedZone("two east", 2*3600)}
	body := get(New(o), "/station/northdock/press-4").Body.String()
	// from 22:00 UTC to 13:00: 900 minutes
	for _, want := range []string{`<dt>Strokes</dt><dd>1800<`, `2.70 <span class="unit">m³ ANR</span><small>90 %: 1.80 to 3.60</small>`} {
		if !strings.Contains(body, want) {
			t.Errorf("no %s", want)
		}
	}
	for _, r := range sums([]station.Minute{{AirReason: "bores not given"}}, 0) {
		if r.Why == "" {
			t.Errorf("%+v is known", r)
		}
	}
}

func TestBadQuestions(t *testing.T) {
	h := New(everything())
	for _, c := range []struct {
		path   string
		status int
		want   string
	}{
		{"/station/northdock/press-4/trace", 400, "span=300"},
		{"/station/northdock/press-4/trace?span=1e9", 400, "from 10 to 604800"},
		{"/station/northdock/press-4/trace?span=9", 400, "whole number of seconds"},
		{"/station/northdock/press-4/trace?span=604801", 400, "604801"},
		{"/station/northdock/press-4?span=<b>", 400, "span=300"},
		{"/station/northdock/nothing", 404, "page of stations"},
		{"/station/northdock/nothing/trace?span=30", 404, "configuration"},
		{"/station/northdock", 404, ""},
		{"/events", 400, "watch=northdock/press-4"},
		{"/events?watch=press-4", 400, "site/station"},
		{"/events?watch=northdock/nothing", 400, "no such station"},
		{"/events?watch=%25/a", 400, "site/station"},
		{"/events?watch=northdock/press-4" + strings.Repeat("&watch=northdock/press-4", mostWatched), 400, "at most 8"},
	} {
		w := get(h, c.path)
		if w.Code != c.status || !strings.Contains(w.Body.String(), c.want) || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/plain") {
			t.Errorf("%s: status %d, %s", c.path, w.Code, w.Body)
		}
	}
}

func TestTraceOfASilentStation(t *testing.T) {
	o := everything()
	w := get(New(o), "/station/southdock/cnc-1/trace?span=30")
	var a answer
	if err := json.Unmarshal(w.Body.Bytes(), &a); err != nil || a.State != "" || a.Now != at(0).Seconds() {
		t.Errorf("%v: %s", err, w.Body)
	}
}

// Coarser states are in order, within the span, and no more than asked for.
func TestCoarserStates(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lengths := rapid.SliceOfN(rapid.Int64Range(1, 1000), 2, 300).Draw(t, "lengths")
		most := rapid.IntRange(1, 50).Draw(t, "most")
		from := station.Instant(rapid.Int64Range(0, 5000).Draw(t, "from"))
		var list []station.Interval
		at := station.Instant(0)
		for i, n := range lengths {
			list = append(list, station.Interval{State: station.State(i % int(station.NumStates)), From: at, To: at.Add(n)})
			at = at.Add(n)
		}
		if at <= from || len(list) <= most {
			t.Skip()
		}
		out := coarser(list, from, at, most)
		if len(out) == 0 || len(out) > most {
			t.Fatalf("%d of %d", len(out), most)
		}
		for i, v := range out {
			if v.To <= v.From || v.From < from || v.To > at || i > 0 && v.From < out[i-1].To {
				t.Fatalf("interval %d: %+v", i, v)
			}
		}
	})
}

func TestMinutesOfAClockSetBackAndWithoutSamples(t *testing.T) {
	nan := station.Gauge(math.NaN())
	m := func(min int64, v station.Gauge) station.Minute {
		return station.Minute{Start: at(0).Add(min * station.Minute60), InletMean: v, OutletMean: v, OutletMax: v}
	}
	in, _ := minuteLines([]station.Minute{m(0, 1), m(1, 2), m(0, 9), m(2, nan), m(3, 4)}, 0)
	if in.Len() != 3 || in.Low[1] != 2 || in.Low[2] != 4 {
		t.Errorf("%+v", in)
	}
	if got := follow(in, live.Line{Step: 1, At: in.At[1:2], Low: []float32{7}, High: []float32{7}}); got.Len() != 2 || got.Low[1] != 7 {
		t.Errorf("%+v", got)
	}
}
