package influx

import (
	"net/http"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/deploy/peers"
)

// stretchOf returns n minutes, and an hour of them.
func stretchOf(n int) (out []history.ExportRow) {
	h := history.Hour{Start: t0, Minutes: int64(n), Covered: int64(n) * 60e9, Strokes: 7200, Inlet: 3e9, LeakSum: 3600e6, LeakLow: 3000e6, LeakHigh: 4000e6, LeakTime: 3600e9,
		InletSum: 594e3 * 3600e3, InletTime: 3600e9}
	for i := range n {
		m := minute(i)
		out = append(out, history.ExportRow{Key: press, Minute: &m})
	}
	return append(out, history.ExportRow{Key: press, Hour: &h, Priced: 12})
}

// A real InfluxDB holds a backfill once, though it was written twice, beside what the live export wrote: the same points.
// Sources: minute(i) has 60+i strokes and 0.02 m³; of the hour 3,600e6 µL in 3,600 s are 1 L/s.
func TestBackfillToARealServer(t *testing.T) {
	db := peers.Influx(t, "boost")
	const n = 250
	o := options("http://" + db.Addr)
	o.Pace.Batch = 100
	s := filled(t, 60)
	_, _, stop := running(t, s, o)
	drained(t, s)
	stop()
	for range 2 {
		e, err := New(nil, o, nil)
		if err != nil {
			t.Fatal(err)
		}
		if err := e.Backfill(t.Context(), stretchOf(n)); err != nil {
			t.Fatal(err)
		}
		if f := e.Figures(); f.Points != n+1 || f.Dropped[refusedReason] != 0 {
			t.Errorf("%+v", f)
		}
	}
	all := fluxFrom + `|> filter(fn: (r) => r._measurement == "boost_minute" and r._field == "strokes") |> group() `
	if got := number(t, flux(t, db, all+`|> count()`)); got != n {
		t.Errorf("%v minutes", got)
	}
	if got := number(t, flux(t, db, all+`|> sum()`)); got != n*60+n*(n-1)/2 {
		t.Errorf("%v strokes", got)
	}
	for field, want := range map[string]float64{"strokes": 7200, "leak_flow_cubic_meters_per_second": 1e-3, "inlet_air_cubic_meters": 3, "inlet_pressure_mean_gauge_pascals": 594e3, "minutes_priced": 12} {
		q := fluxFrom + `|> filter(fn: (r) => r._measurement == "boost_hour" and r.branch == "forming" and r._field == "` + field + `") |> group()`
		if got := number(t, flux(t, db, q)); got < want*(1-1e-9) || got > want*(1+1e-9) {
			t.Errorf("%s of the hour is %v, want %v", field, got, want)
		}
	}
}

// A server that is away for a while gets everything; one that refuses the request ends the backfill, and says why; a bad
// point costs itself.
func TestBackfillGoesOn(t *testing.T) {
	for name, c := range map[string]struct {
		answers func(seen int, w http.ResponseWriter, r *request) bool
		fault   string
		refused int64
	}{
		"away": {func(seen int, w http.ResponseWriter, _ *request) bool {
			if seen < 3 {
				http.Error(w, "starting", http.StatusServiceUnavailable)
			}
			return seen < 3
		}, "", 0},
		"no bucket": {func(_ int, w http.ResponseWriter, _ *request) bool {
			http.Error(w, `{"code":"not found","message":"bucket \"boost\" not found"}`, http.StatusNotFound)
			return true
		}, "run the export again", 0},
		"never there": {func(_ int, w http.ResponseWriter, _ *request) bool {
			http.Error(w, "starting", http.StatusServiceUnavailable)
			return true
		}, "run the export again", 0},
		"a bad point": {func(_ int, w http.ResponseWriter, r *request) bool {
			for _, l := range r.lines {
				if strings.Contains(l, "strokes=63i") {
					http.Error(w, `{"code":"invalid","message":"partial write: field type conflict: input field \"strokes\" dropped=1"}`, http.StatusBadRequest)
					return true
				}
			}
			return false
		}, "", 1},
	} {
		t.Run(name, func(t *testing.T) {
			seen := 0
			f := newFake(t, func(w http.ResponseWriter, r *request) bool { seen++; return c.answers(seen, w, r) })
			e, err := New(nil, options(f.URL), nil)
			if err != nil {
				t.Fatal(err)
			}
			err = e.Backfill(t.Context(), stretchOf(5))
			if got := e.Figures(); c.fault == "" && (err != nil || got.Points+c.refused != 6 || got.Dropped[refusedReason] != c.refused) {
				t.Errorf("%v, %+v", err, got)
			}
			if c.fault != "" && (err == nil || !strings.Contains(err.Error(), c.fault)) {
				t.Error(err)
			}
		})
	}
}

// The hour's strokes are left out where no minute has any.
func TestHourOfUnknownStrokes(t *testing.T) {
	h := history.Hour{Start: t0, Minutes: 2, Uncounted: 2, Airless: 2}
	h.StateNs[station.Blind] = 120e9
	p := hourPoint(press, "", station.ANR, &history.ExportRow{Key: press, Hour: &h})
	for _, f := range p.FieldList() {
		if f.Key == "strokes" || strings.HasPrefix(f.Key, "inlet") || strings.HasPrefix(f.Key, "leak") {
			t.Errorf("%s is %v", f.Key, f.Value)
		}
	}
}
