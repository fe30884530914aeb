package influx

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"math"
	"net/url"
	"strconv"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/deploy/peers"
	"strokewise/rules"
)

// flux asks InfluxDB and gives the column _value of the answer.
func flux(t *testing.T, p *peers.Process, query string) []string {
	t.Helper()
	body := p.Post(t, "/api/v2/query?org=plant", query, "application/vnd.flux")
	r := csv.NewReader(strings.NewReader(strings.TrimSpace(body)))
	r.Comment = '#' // types and defaults of the columns
	rows, err := r.ReadAll()
	if err != nil || len(rows) == 0 {
		t.Fatalf("%v in %q", err, body)
	}
	var out []string
	for i, head := range rows[0] {
		if head == "_value" {
			for _, r := range rows[1:] {
				out = append(out, r[i])
			}
		}
	}
	return out
}

const fluxFrom = `from(bucket: "boost/autogen") |> range(start: 2025-12-31T00:00:00Z, stop: 2026-03-01T00:00:00Z) `

func number(t *testing.T, list []string) float64 {
	t.Helper()
	if len(list) != 1 {
		t.Fatalf("not one value: %q", list)
	}
	v, err := strconv.ParseFloat(list[0], 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// A real InfluxDB holds each minute once, with its values, though everything is sent twice
// and the server is killed in the middle; a bad point costs itself alone.
func TestRealInflux(t *testing.T) {
	db := peers.Influx(t, "boost")
	const n = 2000
	s := filled(t, n)
	commit(t, s, 2, nil, alarm(1, rules.Unacknowledged), alarm(1, rules.Normal))
	figures(t, s, 3, hourFigure(station.SupplySag, 0.12), hourFigure(station.FreeCapacity, 0.01))
	o := options("http://" + db.Addr)
	o.Pace.Batch = 100
	q := &halting{Queue: s, after: n / 4, halted: make(chan struct{}), goOn: make(chan struct{})}
	e, log, stop := running(t, q, o)
	<-q.halted
	db.Kill()
	close(q.goOn)
	await(t, "a failure", func() bool { return e.Figures().Failed > 0 })
	db.Restart()
	drained(t, s)
	stop()

	again := filled(t, n) // the same minutes in a new queue
	_, _, stop = running(t, again, o)
	drained(t, again)
	stop()
	t.Logf("figures %+v, log:\n%s", e.Figures(), log)

	all := fluxFrom + `|> filter(fn: (r) => r._measurement == "boost_minute" and r.station == "press-4" and r._field == "strokes") |> group() `
	if got := number(t, flux(t, db, all+`|> count()`)); got != n {
		t.Errorf("%v minutes, sent %d twice", got, n)
	}
	if got := number(t, flux(t, db, all+`|> sum()`)); got != n*60+n*(n-1)/2 {
		t.Errorf("%v strokes", got)
	}
	air := fluxFrom + `|> filter(fn: (r) => r.reference == "anr" and r.branch == "forming" and r._field == "delivered_air_cubic_meters") |> group() |> sum()`
	if got := number(t, flux(t, db, air)); got < 0.02*n-1e-6 || got > 0.02*n+1e-6 {
		t.Errorf("%v m³ delivered", got)
	}
	alarms := fluxFrom + `|> filter(fn: (r) => r._measurement == "boost_alarm" and r._field == "message") |> group() |> sort(columns: ["state"])`
	if got := flux(t, db, alarms); len(got) != 2 || got[0] != `leak of "1 L/min"` {
		t.Errorf("alarms %q", got)
	}
	sag := fluxFrom + `|> filter(fn: (r) => r._measurement == "boost_figure" and r.figure == "supply_sag" and r.unit == "1" and r._field == "value") |> group()`
	if got := number(t, flux(t, db, sag)); got != 0.12 {
		t.Errorf("sag %v", got)
	}
	free := fluxFrom + `|> filter(fn: (r) => r._measurement == "boost_figure" and r.unit == "m³/s" and r.reference == "anr" and r._field == "high") |> group()`
	if got := number(t, flux(t, db, free)); math.Abs(got-0.011) > 1e-12 {
		t.Errorf("free capacity at most %v", got)
	}
	badPoint(t, db, o)
	missingBucket(t, db, o)
}

// halting is a queue that gives nothing for a while once so many rows were exported.
type halting struct {
	Queue
	after        int64
	halted, goOn chan struct{}
}

func (q *halting) ExportDone(ctx context.Context, exporter string, upTo int64) error {
	err := q.Queue.ExportDone(ctx, exporter, upTo)
	if q.after > 0 && upTo >= q.after {
		q.after = 0
		close(q.halted)
		<-q.goOn
	}
	return err
}

// figures commits figures of an hour.
func figures(t *testing.T, s *history.Store, position uint64, list ...station.HourFigure) {
	t.Helper()
	err := s.Commit(t.Context(), []history.Commit{{Partition: 1, Position: position,
		Stations: []history.StationMinutes{{Key: press, Revision: 1, Figures: list}}}})
	if err != nil {
		t.Fatal(err)
	}
}

// badPoint makes a field conflict: somebody has written strokes as text at another station.
func badPoint(t *testing.T, db *peers.Process, o Options) {
	t.Helper()
	day := strconv.FormatInt(int64(t0.Add(20*24*3600*station.Second)), 10)
	db.Post(t, "/api/v2/write?bucket=boost/autogen", `boost_alarm,x=y raised_seconds="text" `+day, "text/plain")
	s := openStore(t, t.TempDir()+"/h.db")
	odd := alarm(20*24*3600+60, rules.Unacknowledged)
	var ms []station.Minute
	for i := range 20 {
		ms = append(ms, minute(20*24*60+i))
	}
	commit(t, s, 1, ms[:10], odd)
	commit(t, s, 2, ms[10:])
	e, log, stop := running(t, s, o)
	defer stop()
	drained(t, s)
	await(t, "figures", func() bool { return e.Figures().Points >= 20 })
	if got := e.Figures(); got.Points != 20 || got.Dropped[refusedReason] != 1 || log.count("field type conflict") != 1 {
		t.Errorf("figures %+v, log:\n%s", got, log)
	}
}

// missingBucket: a bucket that does not exist is waited for.
func missingBucket(t *testing.T, db *peers.Process, o Options) {
	t.Helper()
	s := filled(t, 5)
	o.Bucket = "later/autogen"
	e, log, stop := running(t, s, o)
	defer stop()
	await(t, "failures", func() bool { return e.Figures().Failed >= 3 })
	if pending(t, s) != 5 || log.count("cannot export") != 1 {
		t.Errorf("%d wait, log:\n%s", pending(t, s), log)
	}
	db.Post(t, "/query", url.Values{"q": {"CREATE DATABASE later"}}.Encode(), "application/x-www-form-urlencoded")
	drained(t, s)
}

// VictoriaMetrics stores the numbers, under measurement_field.
func TestRealVictoriaMetrics(t *testing.T) {
	db := peers.Victoria(t)
	const n = 300
	s := filled(t, n)
	commit(t, s, 2, nil, alarm(1, rules.Unacknowledged))
	figures(t, s, 3, hourFigure(station.FreeCapacity, 0.01))
	o := options("http://" + db.Addr)
	e, log, stop := running(t, s, o)
	drained(t, s)
	stop()
	if got := e.Figures(); got.Points != n+2 || got.Dropped[refusedReason] != 0 || log.String() != "" {
		t.Errorf("figures %+v, log:\n%s", got, log)
	}
	db.Post(t, "/internal/force_flush", "", "text/plain")
	sum := func(name string) (count int, total float64) {
		match := url.Values{"match[]": {name + `{site="northdock",station="press-4",branch="forming"}`}, "start": {"2025-12-31T00:00:00Z"}}
		out := db.Post(t, "/api/v1/export", match.Encode(), "application/x-www-form-urlencoded")
		var line struct{ Values []float64 }
		if out = strings.TrimSpace(out); out == "" || json.Unmarshal([]byte(out), &line) != nil {
			return 0, 0
		}
		for _, v := range line.Values {
			total += v
		}
		return len(line.Values), total
	}
	await(t, "the points to be seen", func() bool { k, _ := sum("boost_minute_strokes"); return k == n })
	if k, total := sum("boost_minute_strokes"); k != n || total != n*60+n*(n-1)/2 {
		t.Errorf("%d minutes with %v strokes", k, total)
	}
	if k, total := sum("boost_figure_value"); k != 1 || total != 0.01 {
		t.Errorf("%d figures, %v", k, total)
	}
	if k, total := sum("boost_alarm_active"); k != 1 || total != 1 {
		t.Errorf("%d transitions, %v", k, total)
	}
}
