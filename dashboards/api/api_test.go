package api

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	validator "github.com/pb33f/libopenapi-validator"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
	"strokewise/deploy/hostile"
	"strokewise/rules"
)

var (
	noon  = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	press = station.Key{Site: "northdock", Station: "press-4"}
	bench = station.Key{Site: "southmill", Station: "bench-1"}
)

// stored is a history of 90 minutes before noon, one of them without air, and of two alarms.
type stored struct{ err error }

func (s stored) Minutes(_ context.Context, k station.Key, from, to station.Instant) (out []station.Minute, err error) {
	for i := range 90 {
		m := station.Minute{Start: station.InstantOf(noon).Add(-int64(90-i) * station.Minute60), Covered: 60e9, Strokes: int64(i), StrokeMethod: station.MethodCounter,
			Inlet: 2e6, InletLow: 1.9e6, InletHigh: 2.1e6, Exhaust: 1e6, Delivered: 1e6, InletMean: 612e3, OutletMean: 985e3, OutletMax: station.Gauge(math.NaN())}
		m.StateNs[station.Stroking], m.StateNs[station.Holding] = 15e9, 45e9
		if i == 7 {
			m.AirReason = "no geometry"
		}
		if k == press && m.Start >= from && m.Start < to {
			out = append(out, m)
		}
	}
	return out, s.err
}

func (s stored) Intervals(_ context.Context, _ station.Key, from, to station.Instant) ([]station.Interval, error) {
	return []station.Interval{{State: station.Stroking, From: from, To: from.Add(5e9)}, {State: station.Holding, From: from.Add(5e9), To: to}}, s.err
}

func (s stored) Transitions(_ context.Context, k station.Key, from, to station.Instant) (out []rules.Transition, err error) {
	for i, of := range []station.Key{press, bench, bench, press} {
		x := rules.Transition{Key: of, Alarm: "outlet-leak", To: rules.Unacknowledged, At: station.InstantOf(noon).Add(-int64(60-i/2*10) * station.Minute60), Message: "a leak"}
		if (k == station.Key{} || k == of) && x.At >= from && x.At < to {
			out = append(out, x)
		}
	}
	return out, s.err
}

func (stored) Used(_ context.Context, k station.Key, from, to station.Instant) (cost.Sum, error) {
	s := cost.Sum{Minutes: to.Sub(from) / station.Minute60, Inlet: 5e9, InletLow: 4e9, InletHigh: 6e9, Exhaust: 2e9, Delivered: 3e9}
	s.Account.Add(cost.Line{Currency: "EUR", Minutes: s.Minutes, Inlet: s.Inlet, Energy: 3.6e9, Money: 180000, CarbonMinutes: 1, Carbon: 3e8})
	if k == bench {
		s = cost.Sum{Minutes: 60, Airless: 60}
	}
	return s, nil
}

// server serves two stations, of which one has an alarm.
func server(t *testing.T, h History) *httptest.Server {
	t.Helper()
	b := board.New()
	one := board.Station{Plate: station.Plate{Key: press, Branch: "forming"}}
	one.Status = station.Status{At: station.InstantOf(noon), State: station.Holding, Inlet: station.Estimate{Value: 612e3, Method: station.MethodTraces},
		Outlet: station.Unknown("no outlet pressure"), StrokeRate: station.Estimate{Value: 0.5, Method: station.MethodCounter}}
	for i := range one.Status.Estimates {
		one.Status.Estimates[i] = station.Unknown("not known yet")
	}
	one.Status.Estimates[station.LeakFlow] = station.Estimate{Value: 1e-4, Low: 9e-5, High: 1.1e-4, Method: station.MethodTraces, Confidence: 0.9, At: station.InstantOf(noon)}
	b.Put(one)
	two := board.Station{Plate: station.Plate{Key: bench, Branch: hostile.Texts["formula"]}}
	two.Alarms = []board.Alarm{{Transition: rules.Transition{Key: bench, Alarm: "pressure-left", Priority: rules.High, Message: "The outlet still reads 985 kPa gauge."}, State: rules.Unacknowledged}}
	b.Put(two)
	b.SetReady(true)
	mux := http.NewServeMux()
	for _, e := range Endpoints(Sources{Board: b, History: h, Now: func() time.Time { return noon }, References: map[string]station.Reference{"northdock": station.Normal}}) {
		mux.Handle("GET "+Root+e.Path, e.Handler)
	}
	s := httptest.NewServer(mux)
	t.Cleanup(s.Close)
	return s
}

// ask returns an answer of the server as it comes, compressed where header asks for that.
func ask(t *testing.T, s *httptest.Server, path string, header ...string) (*http.Response, string) {
	t.Helper()
	req, err := http.NewRequest("GET", s.URL+Root+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(header); i += 2 {
		req.Header.Set(header[i], header[i+1])
	}
	res, err := http.DefaultTransport.RoundTrip(req)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return res, string(body)
}

// Every answer has the form that the description says, and so has every problem.
func TestAnswersHoldTheDescription(t *testing.T) {
	v := checker(t)
	good := server(t, stored{})
	for _, path := range []string{
		"/openapi.json", "/stations", "/stations?site=northdock", "/stations?limit=1", "/stations/northdock/press-4", "/stations/southmill/bench-1",
		"/stations/northdock/press-4/minutes", "/stations/northdock/press-4/minutes?limit=10", "/stations/northdock/press-4/states", "/alarms", "/alarm-log",
		"/alarm-log?limit=1", "/air", "/due", "/stations/northdock/none", "/stations?limit=0", "/stations?x=1", "/alarm-log?from=yesterday", "/alarm-log?station=press-4",
	} {
		conform(t, v, good, path)
	}
	conform(t, v, server(t, stored{errors.New("disk is full")}), "/alarm-log")
}

func conform(t *testing.T, v validator.Validator, s *httptest.Server, path string) {
	t.Helper()
	req, _ := http.NewRequest("GET", s.URL+Root+path, nil)
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	if ok, faults := v.ValidateHttpResponse(req, res); !ok {
		for _, f := range faults {
			t.Errorf("%s: %s: %s", path, f.Message, f.Reason)
			for _, x := range f.SchemaValidationErrors {
				t.Errorf("  %s at %s", x.Reason, x.FieldPath)
			}
		}
	}
}

func decode[T any](t *testing.T, body string) (out T) {
	t.Helper()
	if err := json.Unmarshal([]byte(body), &out); err != nil {
		t.Fatalf("%v: %s", err, body)
	}
	return out
}

// Pages lead from one to the next until every row was seen once.
func TestPagesHoldEveryRowOnce(t *testing.T) {
	s := server(t, stored{})
	seen := map[string]int{}
	pages := 0
	for path := "/stations/northdock/press-4/minutes?from=2026-03-02T10:00:00Z&limit=25"; path != ""; pages++ {
		_, body := ask(t, s, path)
		p := decode[page[Minute]](t, body)
		for _, m := range p.Items {
			seen[m.Minute]++
		}
		path = strings.TrimPrefix(p.Next, Root)
	}
	for m, n := range seen {
		if n != 1 {
			t.Errorf("%s comes %d times", m, n)
		}
	}
	if len(seen) != 90 || pages != 5 { // 120 minutes by 25
		t.Errorf("%d minutes on %d pages", len(seen), pages)
	}
	transitions := 0
	for path := "/alarm-log?limit=1"; path != ""; {
		_, body := ask(t, s, path)
		p := decode[page[Transition]](t, body)
		transitions += len(p.Items)
		path = strings.TrimPrefix(p.Next, Root)
	}
	if transitions != 4 {
		t.Errorf("%d transitions", transitions)
	}
	_, body := ask(t, s, "/stations?limit=1")
	first := decode[page[Station]](t, body)
	_, body = ask(t, s, strings.TrimPrefix(first.Next, Root))
	if second := decode[page[Station]](t, body); first.Items[0].Name != "press-4" || len(second.Items) != 1 || second.Items[0].Name != "bench-1" || second.Next != "" {
		t.Errorf("%+v, %+v", first, second)
	}
}

// What is unknown is null, never zero; volumes are at the site's reference.
func TestUnknownIsNull(t *testing.T) {
	s := server(t, stored{})
	_, body := ask(t, s, "/stations/northdock/press-4/minutes")
	list := decode[page[Minute]](t, body).Items
	if m := list[7]; m.Inlet != nil || m.Delivered != nil || m.Reason != "no geometry" {
		t.Errorf("a minute without air: %+v", m)
	}
	// 2 L at ANR (20 °C, 100 kPa, 65 % RH) are as many at 0 °C, 101.325 kPa as the densities say: ISO 8778 and DIN 1343, as in analyzer/station
	if m := list[8]; m.OutletMax != nil || math.Abs(*m.Inlet-2*station.Normal.PerANR()) > 1e-9 || *m.Duty != 0.25 || *m.Strokes != 8 {
		t.Errorf("a minute: %+v", m)
	}
	_, body = ask(t, s, "/stations/northdock/press-4")
	now := decode[StationNow](t, body)
	if now.Outlet != nil || *now.Inlet != 612 || *now.Rate != 30 || now.State != "holding" {
		t.Errorf("%+v", now.Station)
	}
	_, body = ask(t, s, "/air")
	if all := decode[page[Used]](t, body).Items; len(all) != 2 || all[1].Inlet != nil || all[1].Money != nil || *all[0].Energy != 1 || *all[0].Money != 0.18 {
		t.Errorf("%+v", all)
	}
}

// CSV has the rows of the JSON, and no cell that a spreadsheet would take for a formula.
func TestCSVHasTheRows(t *testing.T) {
	s := server(t, stored{})
	res, body := ask(t, s, "/stations?limit=1", "Accept", "text/csv")
	if res.Header.Get("Content-Type") != "text/csv; charset=utf-8" || !strings.HasSuffix(res.Header.Get("Link"), `; rel="next"`) {
		t.Errorf("%v", res.Header)
	}
	rows, err := csv.NewReader(strings.NewReader(body)).ReadAll()
	if err != nil || len(rows) != 2 || fmt.Sprint(rows[0][:3]) != "[site branch station]" || rows[1][2] != "press-4" || rows[1][9] != "" {
		t.Errorf("%v: %q", err, rows)
	}
	_, body = ask(t, s, "/stations", "Accept", "text/csv")
	for _, row := range must(csv.NewReader(strings.NewReader(body)).ReadAll()) {
		for _, c := range row {
			if c != "" && strings.ContainsAny(c[:1], "=+@\t\r") {
				t.Errorf("cell %q", c)
			}
		}
	}
}

func must[T any](x T, err error) T {
	if err != nil {
		panic(err)
	}
	return x
}

// An answer that has not changed is not sent again, compressed or not.
func TestUnchangedAnswersAreNotSentAgain(t *testing.T) {
	s := server(t, stored{})
	for _, encoding := range []string{"identity", "gzip"} {
		res, _ := ask(t, s, "/stations/northdock/press-4/minutes", "Accept-Encoding", encoding)
		tag := res.Header.Get("ETag")
		if got := res.Header.Get("Content-Encoding"); (got == "gzip") != (encoding == "gzip") {
			t.Errorf("%s: content encoding %q", encoding, got)
		}
		if res, body := ask(t, s, "/stations/northdock/press-4/minutes", "Accept-Encoding", encoding, "If-None-Match", tag); res.StatusCode != http.StatusNotModified || body != "" {
			t.Errorf("%s: %d with %q again", encoding, res.StatusCode, tag)
		}
		if res, _ := ask(t, s, "/stations/northdock/press-4/minutes?limit=5", "Accept-Encoding", encoding, "If-None-Match", tag); res.StatusCode != http.StatusOK {
			t.Errorf("%s: another answer: %d", encoding, res.StatusCode)
		}
	}
}

// Problems say which parameter is at fault and what is expected.
func TestProblems(t *testing.T) {
	s := server(t, stored{})
	for path, want := range map[string]Problem{
		"/stations?limit=0":                              {"Bad Request", 400, "limit=0: expected a whole number from 1 to 10000", "limit"},
		"/stations?sites=x":                              {"Bad Request", 400, `there is no parameter "sites" here; expected one of ["site" "branch" "limit" "after"]`, "sites"},
		"/stations?site=a&site=b":                        {"Bad Request", 400, `"site" is given 2 times; expected once`, "site"},
		"/alarm-log?from=1&to=2":                         {"Bad Request", 400, "to=2: expected a time as 2026-03-01T06:00:00Z (RFC 3339; + is written %2B)", "to"},
		"/alarm-log?from=2026-03-03T00:00:00Z":           {"Bad Request", 400, "from is not before to", "from"},
		"/alarm-log?from=2024-03-03T00:00:00Z":           {"Bad Request", 400, "from is more than 366 days before to; ask for less at once", "from"},
		"/alarm-log?station=press-4":                     {"Bad Request", 400, "station is given without its site", "station"},
		"/stations/northdock/" + url.PathEscape("=none"): {"Not Found", 404, `there is no station "=none" at site "northdock"; /api/v1/stations lists those that there are`, ""},
	} {
		res, body := ask(t, s, path)
		if got := decode[Problem](t, body); got != want || res.StatusCode != want.Status || res.Header.Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s: %+v", path, got)
		}
	}
	res, body := ask(t, server(t, stored{errors.New("disk is full")}), "/alarm-log")
	if p := decode[Problem](t, body); res.StatusCode != 503 || res.Header.Get("Retry-After") == "" || p.Detail != "the history does not answer: disk is full; try again" {
		t.Errorf("%+v", p)
	}
}
