package trend

import (
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

const (
	weeks  = 8
	monday = station.Instant(1767571200 * station.Second) // 2026-01-05
	hour   = 60 * station.Minute60
	day    = 24 * hour
)

// truth is how a made-up station runs. Shares of fed time, a day where they are slopes.
type truth struct {
	slope, step float64
	at          int // day of the step
	noise, rho  float64
}

// duties gives the duty of each day: weekends 20 points lower, noise that follows itself.
func (w *truth) duties(r *rand.Rand) []float64 {
	out := make([]float64, weeks*7)
	e := r.NormFloat64()
	for i := range out {
		d := 0.45 + w.slope*float64(i) + w.noise*e
		e = w.rho*e + math.Sqrt(1-w.rho*w.rho)*r.NormFloat64()
		if i%7 >= 5 {
			d -= 0.2
		}
		if w.step != 0 && i >= w.at {
			d += w.step
		}
		out[i] = min(max(d, 0), 1)
	}
	return out
}

// write stores a station's weeks: a few minutes of each hour, and a sag that falls where the
// duty rises, once an hour.
func write(t testing.TB, s *history.Store, k station.Key, w truth, r *rand.Rand, everyHour int) {
	t.Helper()
	var p history.StationMinutes
	p.Key = k
	for i, d := range w.duties(r) {
		for h := range 24 {
			start := monday.Add(int64(i)*day + int64(h)*hour)
			for m := range everyHour {
				minute := station.Minute{Start: start.Add(int64(m) * station.Minute60), Covered: 60e9, StrokeMethod: station.MethodBoth,
					InletMean: 6e5, OutletMean: 9e5, OutletMax: 9e5, Leak: station.Unknown("no quiet window")}
				share := min(max(d+0.05*r.NormFloat64(), 0), 1)
				minute.StateNs[station.Stroking] = int64(share * 60e9)
				minute.StateNs[station.Holding] = 60e9 - minute.StateNs[station.Stroking]
				minute.Strokes = int64(60 * share)
				minute.Inlet = station.Microlitres(60 * share * 0.5e6)
				p.Minutes = append(p.Minutes, minute)
			}
			p.Figures = append(p.Figures, station.HourFigure{Hour: start, Figure: station.SupplySag, Estimate: station.Estimate{
				Value: 0.3 - d/4 + 0.01*r.NormFloat64(), Method: station.MethodTraces, Confidence: 0.9, At: start.Add(hour / 2)}})
		}
	}
	if err := s.Import(t.Context(), p); err != nil {
		t.Fatal(err)
	}
}

func openHistory(t testing.TB) *history.Store {
	t.Helper()
	s, err := history.Open(filepath.Join(t.TempDir(), "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func report(t testing.TB, s *history.Store, k station.Key) map[string]*Series {
	t.Helper()
	r, err := Tell(t.Context(), s, Query{Plate: &station.Plate{Key: k}, From: monday, To: monday.Add(weeks * 7 * day)})
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]*Series{}
	for i := range r.Series {
		out[r.Series[i].Name] = &r.Series[i]
	}
	return out
}

const seeds = 40

// Eight weeks of forty stations with a slope, weekends, noise and a step, written as minutes
// and read back: the slope's interval holds the truth, the step is found to the day, the date
// of the limit is held by its interval; the sag tells the same upside down.
func TestWeeksWithSlopeAndStep(t *testing.T) {
	s := openHistory(t)
	var slope, sag, told, found, date, dated int
	for seed := range uint64(seeds) {
		r := rand.New(rand.NewPCG(seed, 1))
		w := truth{slope: 0.003, step: 0.1, at: 14 + r.IntN(28), noise: 0.02}
		k := station.Key{Site: "a", Station: fmt.Sprint(seed)}
		write(t, s, k, w, r, 3)
		got := report(t, s, k)
		d, g := got["duty"], got["supply_sag"]
		if d == nil || g == nil || len(d.Days) != weeks*7 || len(g.Days) != weeks*7 {
			t.Fatalf("seed %d: %+v", seed, got)
		}
		slope += held(d.Slope.Low <= w.slope && w.slope <= d.Slope.High)
		sag += held(g.Slope.Low <= -w.slope/4 && -w.slope/4 <= g.Slope.High)
		told += held(d.Told && d.Slope.Value > 0 && g.Told && g.Slope.Value < 0)
		truthDay := dayOf(monday, time.UTC) + int64(w.at)
		found += held(len(d.Changes) == 1 && abs(d.Changes[0].Day-truthDay) <= 1)
		if p := d.Passing; p != nil {
			dated++
			// a typical day is a workday: 0.55 behind the step, rising
			limit := float64(dayOf(monday, time.UTC)) + (0.9-0.55)/w.slope
			date += held(float64(p.Early) <= math.Ceil(limit) && math.Floor(limit) <= float64(p.Late))
		}
	}
	t.Logf("of %d: slope held %d, of the sag %d, told %d, step found within a day %d, date held %d of %d", seeds, slope, sag, told, found, date, dated)
	for name, n := range map[string]int{"slope of the duty": slope, "slope of the sag": sag} {
		if n < seeds*80/100 || n > seeds*98/100 {
			t.Errorf("%s: the 90 %% interval held %d times in %d", name, n, seeds)
		}
	}
	if told < seeds*95/100 || found < seeds*90/100 || dated < seeds*95/100 || date < dated*80/100 {
		t.Errorf("told %d, step found %d, dates %d, held %d, of %d", told, found, dated, date, seeds)
	}
}

func held(ok bool) int {
	if ok {
		return 1
	}
	return 0
}

func abs(v int64) int64 { return max(v, -v) }

// Noise alone, also such that follows itself, is called a trend in no more than a tenth of the
// stations, a change or a recent shift likewise, and never gets a date.
func TestFlatNoiseIsNoTrend(t *testing.T) {
	for _, rho := range []float64{0, 0.3} {
		s := openHistory(t)
		var trends, changed, late, all int
		for seed := range uint64(seeds) {
			r := rand.New(rand.NewPCG(seed, 2))
			k := station.Key{Site: "a", Station: fmt.Sprint(seed)}
			write(t, s, k, truth{noise: 0.02, rho: rho}, r, 3)
			for _, g := range report(t, s, k) {
				if g.Name != "duty" && g.Name != "supply_sag" {
					continue // the others are the duty again
				}
				all++
				trends += held(g.Told)
				changed += held(len(g.Changes) > 0)
				late += held(g.Late != nil)
				if g.Passing != nil && !g.Told {
					t.Errorf("seed %d: a date without a trend", seed)
				}
			}
		}
		t.Logf("correlation %g, of %d series: %d trends, %d changes, %d recent shifts", rho, all, trends, changed, late)
		if trends > all/10 || changed > all/10 || late > all/10 {
			t.Errorf("correlation %g, of %d series: %d trends, %d changes, %d recent shifts", rho, all, trends, changed, late)
		}
	}
}

// A rise by seven standard deviations on the last three days is seen, as a recent shift or, since
// a change needs five days, as one a little too early.
func TestARecentShiftIsSeen(t *testing.T) {
	late, changed := 0, 0
	for seed := range uint64(seeds) {
		r := rand.New(rand.NewPCG(seed, 3))
		w := truth{noise: 0.02, step: 0.14, at: weeks*7 - 3}
		var days []Day
		for i, v := range w.duties(r) {
			days = append(days, Day{int64(20458 + i), v})
		}
		at := int64(20458 + w.at)
		switch tr := Of(days); {
		case tr.Late != nil && tr.Late.Up && abs(tr.Late.Day-at) <= 1:
			late++
		case len(tr.Changes) == 1 && abs(tr.Changes[0].Day-at) <= 2 && tr.Changes[0].Size > 0:
			changed++
		}
	}
	t.Logf("of %d: %d recent shifts, %d changes", seeds, late, changed)
	if late+changed < seeds*90/100 || late == 0 {
		t.Errorf("of %d: %d recent shifts, %d changes", seeds, late, changed)
	}
}

// The days begin anew at a record of maintenance or at the plate's date; what a note says changes nothing.
func TestMaintenanceBeginsAnew(t *testing.T) {
	s := openHistory(t)
	k := station.Key{Site: "a", Station: "b"}
	write(t, s, k, truth{noise: 0.02, step: -0.2, at: 28}, rand.New(rand.NewPCG(1, 4)), 3)
	tell := func(p station.Plate, zone *time.Location) *Report {
		t.Helper()
		r, err := Tell(t.Context(), s, Query{Plate: &p, Zone: zone, From: monday, To: monday.Add(weeks*7*day + 5*hour)})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	if r := tell(station.Plate{Key: k}, nil); r.Work != "" || len(r.Series[0].Days) != 56 || len(r.Series[0].Changes) != 1 {
		t.Errorf("before: %+v", r)
	}
	for at, n := range map[int64]history.Note{
		20: {Service: station.SealReplacement, Text: "both sides"}, 30: {Service: station.Overhaul, Text: "by the maker", Date: Date(dayOf(monday, time.UTC) + 27)},
		40: {Text: "Overhauled, says the note"}, 41: {Service: station.FilterElement, Text: "new one"},
		42: {Service: station.Overhaul, Text: "twice", Outcome: rules.Outcome{Result: rules.Refused, Reason: "x"}},
	} {
		n.Key, n.At, n.Who = k, monday.Add(at*day+9*hour), "jo"
		if err := s.AddNote(t.Context(), n); err != nil {
			t.Fatal(err)
		}
	}
	r := tell(station.Plate{Key: k, Overhauled: "2025-03-01"}, nil)
	if d := r.Series[0]; len(d.Days) != 28 || len(d.Changes) != 0 || d.Told || !strings.Contains(r.Work, "by the maker") {
		t.Errorf("behind the note: %d days, %s, %s", len(d.Days), r.Work, d.Verdict())
	}
	r = tell(station.Plate{Key: k, Overhauled: "2026-02-20"}, nil)
	if d := r.Series[0]; len(d.Days) != 9 || d.Why == "" || !strings.Contains(r.Work, "2026-02-20") || !strings.Contains(d.Verdict(), "needs 21 days") {
		t.Errorf("behind the overhaul: %d days, %s, %s", len(d.Days), r.Work, d.Verdict())
	}
	// days are those of the site: the first and the last are cut in this zone
	if r := tell(station.Plate{Key: station.Key{Site: "a", Station: "b"}}, time.FixedZone("east", 3600)); r.Work == "" || r.To != dayOf(monday, time.UTC)+55 {
		t.Errorf("in another zone: %+v", r)
	}
}

// Days that were watched for less than half of the usual time do not count, nor those of
// which a figure is not known.
func TestDaysThatDoNotCount(t *testing.T) {
	var hours []history.Hour
	for i := range 30 * 24 {
		h := history.Hour{Start: monday.Add(int64(i) * hour), Covered: hour, Minutes: 60, Strokes: 3600, Inlet: 1e9}
		h.StateNs[station.Holding], h.StateNs[station.Stroking] = hour/2, hour/2
		switch d := i / 24; {
		case d == 3 && i%24 > 10: // away
			continue
		case d == 5:
			h.Uncounted, h.Strokes = 60, 0
		case d == 7:
			h.Airless = 3
		case d == 9:
			h.StateNs = [station.NumStates]int64{}
			h.StateNs[station.Off] = hour
		}
		hours = append(hours, h)
	}
	r := tell(Query{Plate: &station.Plate{}, Zone: time.UTC, From: monday, To: monday.Add(30 * day)}, hours, nil, nil)
	want := map[string]int{"duty": 28, "starved_share": 28, "stroke_rate": 28, "inlet_air": 28, "delivered_air": 28}
	for _, s := range r.Series {
		if len(s.Days) != want[s.Name] {
			t.Errorf("%s: %d days, want %d", s.Name, len(s.Days), want[s.Name])
		}
		delete(want, s.Name)
	}
	if len(want) != 0 {
		t.Errorf("not told: %v", want)
	}
	if d := r.Series[0]; d.Days[0].Value != 0.5 || d.Told || d.P != 1 || d.NoDate == "" || d.Value != 0.5 {
		t.Errorf("an even duty: %+v", d)
	}
}

// Before hourly figures were kept the leak comes from the hours' means.
func TestTheLeakReachesBack(t *testing.T) {
	h := func(d int64, leak station.Microlitres) history.Hour {
		return history.Hour{Start: monday.Add(d * day), LeakSum: leak * 1000, LeakTime: hour}
	}
	numbers, days := daily([]history.Hour{h(0, 3600), h(1, 7200), h(2, 9000)}, time.UTC)
	kept := []station.HourFigure{{Hour: monday.Add(2 * day), Figure: station.LeakFlow, Estimate: station.Estimate{Value: 5}}}
	got := ofFigure(station.LeakFlow, kept, time.UTC, numbers, days)
	if len(got) != 3 || got[0].Value != 1e-6 || got[1].Value != 2e-6 || got[2].Value != 5 {
		t.Errorf("%+v", got)
	}
}

func TestLimitsThatAreNotMet(t *testing.T) {
	line := func(a, b float64, n int) Trend {
		r := rand.New(rand.NewPCG(8, 9))
		var days []Day
		for i := range n {
			days = append(days, Day{int64(20458 + i), a + b*float64(i) + 0.01*r.NormFloat64()})
		}
		return Of(days)
	}
	for want, tr := range map[string]Trend{
		"above it already": line(0.8, 0.005, 56), "runs away": line(0.8, -0.005, 56), "noise": line(0.5, 0, 56),
		"five years": line(0.1, 0.0003, 360), "needs 21 days, there": {Why: "needs 21 days, there are none"},
	} {
		if p, why := tr.Passes(0.9); p != nil || !strings.Contains(why, want) {
			t.Errorf("%q: %+v, %s", want, p, why)
		}
	}
	up := line(0.3, 0.005, 56)
	if p, why := up.Passes(0.9); p == nil || abs(p.Day-(20458+120)) > 3 || p.Early > p.Day || p.Late < p.Day {
		t.Errorf("%+v, %s", p, why)
	}
}
