package app

import (
	"context"
	"database/sql"
	"fmt"
	"math/big"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/playback"
	"strokewise/dashboards/cost"
	"strokewise/dashboards/history"
	"strokewise/deploy/peers"
)

// meter is one station whose counter shows a cycle every other second, in event time of its own.
type meter struct {
	t   *testing.T
	opt Options
	key station.Key
}

func newMeter(t *testing.T, addr string, at time.Time) *meter {
	o := options(t, addr, "press-4")
	ahead := time.Until(at)
	o.Wall = func(t time.Time) time.Time { return t.Add(ahead) } // a log that ends long ago makes a start hold messages
	o.Every = Intervals{Commit: 10 * time.Millisecond, Tick: time.Hour, Snapshot: time.Hour}
	p := &o.Stations[0].Plate
	p.Bores(0.063, 0.063, 0.016, 0.06, true, true)
	p.Set, p.TankVolume = 900e3, 20e-3
	o.Zones = map[string]*time.Location{p.Key.Site: lisbon(t)}
	return &meter{t, o, p.Key}
}

func lisbon(t *testing.T) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	return zone
}

// tariffs puts a site's tariffs in force at the next start; none: it has no section air.
func (m *meter) tariffs(list ...cost.Tariff) {
	m.opt.Tariffs = nil
	if len(list) > 0 {
		m.opt.Tariffs = map[string]*cost.Tariffs{playback.Site: {Zone: m.opt.Zones[playback.Site], List: list}}
	}
}

func paid(from station.Instant, price float64, currency string, carbon float64) cost.Tariff {
	return cost.Tariff{From: from, Rates: cost.RatesOf(0.12*3.6e6, station.Price{PerJoule: price / 3.6e6, Currency: currency}, carbon/3.6e6)}
}

// put appends the station's samples from a time to another to the log, a minute at a time, and waits until they are stored.
func (m *meter) put(a *App, from, to time.Time) {
	m.t.Helper()
	for at := from; at.Before(to); at = at.Add(time.Minute) {
		blocks := []station.Block{}
		for _, c := range []struct {
			channel station.Channel
			value   func(i int) float64
		}{
			{station.InletPressure, func(i int) float64 { return 600e3 + float64(i%3)*100 }}, {station.OutletPressure, func(i int) float64 { return 880e3 + float64(i%4)*1e3 }},
			{station.Cycles, func(i int) float64 { return float64((at.Unix() + int64(i)) / 2 % 1e6) }},
		} {
			b := station.Block{Channel: c.channel, Start: station.InstantOf(at), Step: station.Second}
			for i := range 60 {
				b.Values = append(b.Values, c.value(i))
			}
			blocks = append(blocks, b)
		}
		if err := a.Put(m.t.Context(), station.Record{Key: m.key, Arrival: station.InstantOf(at.Add(time.Minute)), Blocks: blocks}); err != nil {
			m.t.Fatal(err)
		}
	}
	if err := a.Settle(m.t.Context()); err != nil {
		m.t.Fatal(err)
	}
}

// rows returns every column of the stored minutes, hours and sums of money, as text.
func (m *meter) rows() map[string][]string {
	m.t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(m.opt.Data, "history.db"))
	if err != nil {
		m.t.Fatal(err)
	}
	defer db.Close()
	out := map[string][]string{}
	for _, table := range []string{"minutes", "hour_costs", "total_costs"} {
		rows, err := db.Query("SELECT * FROM " + table + " ORDER BY 1, 2, 3")
		if err != nil {
			m.t.Fatal(err)
		}
		defer rows.Close()
		columns, _ := rows.Columns()
		for rows.Next() {
			values := make([]any, len(columns))
			for i := range values {
				values[i] = new(any)
			}
			if err := rows.Scan(values...); err != nil {
				m.t.Fatal(err)
			}
			line := ""
			for i := range values {
				line += fmt.Sprintf("%s=%v ", columns[i], *values[i].(*any))
			}
			out[table] = append(out[table], line)
		}
	}
	return out
}

// kept fails where one of the rows is no longer there as it was.
func (m *meter) kept(was, is []string) {
	m.t.Helper()
	for _, r := range was {
		if !slices.Contains(is, r) {
			m.t.Fatalf("gone or changed: %s", r)
		}
	}
}

// counters returns what /metrics has of money, by currency, and of energy, J.
func (m *meter) counters(a *App) map[string]float64 {
	m.t.Helper()
	code, body := page(m.t, a, "/metrics")
	out := map[string]float64{}
	for _, l := range strings.Split(body, "\n") {
		name, value, _ := strings.Cut(l, "} ")
		if !strings.HasPrefix(l, "strokewise_air_cost_total{") && !strings.HasPrefix(l, "strokewise_air_energy_joules_total{") && !strings.HasPrefix(l, "strokewise_air_carbon_dioxide_grams_total{") {
			continue
		}
		var v float64
		if _, err := fmt.Sscan(value, &v); err != nil {
			m.t.Fatalf("%q: %v", l, err)
		}
		out[name] = v
	}
	if code != 200 {
		m.t.Fatal(code, body)
	}
	return out
}

// grows fails where a counter is less than it was, or gone.
func (m *meter) grows(was, is map[string]float64) {
	m.t.Helper()
	for name, v := range was {
		if now, ok := is[name]; !ok || now < v {
			m.t.Errorf("%s: %g, %v, was %g", name, now, ok, v)
		}
	}
}

// expected works out what the stored minutes must have cost in all, from their volumes alone, in fractions: the time of
// each is compared with the days by the zone's own clock. price is per kWh, in hundredths.
func (m *meter) expected(price func(local time.Time) (hundredths int64, currency string)) map[string]int64 {
	m.t.Helper()
	s, err := history.Open(filepath.Join(m.opt.Data, "history.db"), history.Options{})
	if err != nil {
		m.t.Fatal(err)
	}
	defer s.Close()
	ms, err := s.Minutes(m.t.Context(), m.key, 0, 1<<62)
	if err != nil {
		m.t.Fatal(err)
	}
	half := func(x *big.Rat) *big.Int {
		x.Add(x, big.NewRat(1, 2))
		return new(big.Int).Div(x.Num(), x.Denom())
	}
	out := map[string]int64{}
	for _, x := range ms {
		hundredths, currency := price(x.Start.Time().In(m.opt.Zones[playback.Site]))
		if x.AirReason != "" || currency == "" {
			continue
		}
		energy := half(new(big.Rat).Mul(big.NewRat(int64(x.Inlet), 1e9), big.NewRat(12*36e8, 100)))
		money := half(new(big.Rat).Mul(new(big.Rat).SetFrac(energy, big.NewInt(36e8)), big.NewRat(hundredths*1e6, 100)))
		out[currency] += money.Int64()
		out["mJ"] += energy.Int64()
	}
	return out
}

// total returns the stored sums: money by currency, and energy.
func (m *meter) total() map[string]int64 {
	m.t.Helper()
	s, err := history.Open(filepath.Join(m.opt.Data, "history.db"), history.Options{})
	if err != nil {
		m.t.Fatal(err)
	}
	defer s.Close()
	all, err := s.TotalCosts(context.Background())
	if err != nil {
		m.t.Fatal(err)
	}
	hours, err := s.Costs(context.Background(), m.key, 0, 1<<62)
	if err != nil || !reflect.DeepEqual(hours, all[m.key]) {
		m.t.Errorf("hours add up to %+v, totals are %+v, %v", hours, all[m.key], err)
	}
	out := map[string]int64{}
	for _, l := range all[m.key] {
		if l.Currency != "" {
			out[l.Currency] = l.Money
		}
		out["mJ"] += l.Energy
	}
	return out
}

// A tariff changes at midnight of the day on which Lisbon sets its clock back, and 25 h later to another currency, while
// the program runs. It is restarted, once with its memory lost so that all is concluded again from the log, with past
// entries of the list changed each time, and at last without the section. What is stored stays byte for byte, the
// counters never go back, the sums are those of minute times tariff, and a twin that ran through has the same rows.
func TestNothingIsPricedTwice(t *testing.T) {
	broker := peers.Mosquitto(t)
	first, second := time.Date(2026, 10, 24, 23, 0, 0, 0, time.UTC), time.Date(2026, 10, 26, 0, 0, 0, 0, time.UTC)
	autumn, swiss := paid(station.InstantOf(first), 0.21, "EUR", 0.30), paid(station.InstantOf(second), 0.20, "CHF", 0.10)
	ten := 10 * time.Minute

	twin := newMeter(t, broker.Addr, second.Add(time.Hour))
	twin.tariffs(paid(cost.Always, 0.18, "EUR", 0), autumn, swiss)
	a, stop := running(t, twin.opt)
	twin.put(a, first.Add(-ten), first.Add(ten))
	twin.put(a, second.Add(-ten), second.Add(ten))
	stop()

	m := newMeter(t, broker.Addr, second.Add(time.Hour))
	m.opt.MQTT.ClientID = "meter"
	m.tariffs(paid(cost.Always, 0.18, "EUR", 0), autumn)
	a, stop = running(t, m.opt)
	zero := m.counters(a)
	m.put(a, first.Add(-ten), first.Add(3*time.Minute))
	early := m.counters(a)
	m.put(a, first.Add(3*time.Minute), first.Add(ten))
	before := m.counters(a)
	m.grows(zero, early)
	m.grows(early, before)
	if len(zero) != 3 || len(before) != 3 || reflect.DeepEqual(zero, before) {
		t.Fatalf("counters %v, then %v", zero, before)
	}
	stop()
	rows := m.rows()

	execute(t, m.opt, `DELETE FROM snapshots`) // all is concluded again
	m.tariffs(paid(cost.Always, 9.99, "EUR", 5), paid(station.InstantOf(first), 0.21, "EUR", 0.30), swiss)
	a, stop = running(t, m.opt)
	if got := m.counters(a); !reflect.DeepEqual(without(got, "CHF"), before) {
		t.Errorf("after the start %v, before it %v", got, before)
	}
	m.put(a, second.Add(-ten), second.Add(ten))
	after := m.counters(a)
	m.grows(before, after)
	stop()
	m.kept(rows["minutes"], m.rows()["minutes"])
	if got, want := m.rows(), twin.rows(); !reflect.DeepEqual(got, want) {
		t.Errorf("rows differ from those of the run that was not disturbed:\n%s\n%s", strings.Join(got["total_costs"], "\n"), strings.Join(want["total_costs"], "\n"))
	}
	want := m.expected(func(local time.Time) (int64, string) {
		switch day := local.Format(time.DateOnly); {
		case day < "2026-10-25":
			return 18, "EUR"
		case day == "2026-10-25":
			return 21, "EUR"
		}
		return 20, "CHF"
	})
	got := m.total()
	if !reflect.DeepEqual(got, want) || want["CHF"] == 0 || want["EUR"] == 0 {
		t.Errorf("stored %v, worked out %v", got, want)
	}
	rows = m.rows()

	m.tariffs() // the section is taken out
	a, stop = running(t, m.opt)
	if got := m.counters(a); !reflect.DeepEqual(got, after) {
		t.Errorf("without the section %v, before %v", got, after)
	}
	m.put(a, second.Add(ten), second.Add(2*ten))
	if got := m.counters(a); !reflect.DeepEqual(got, after) {
		t.Errorf("air without a price was counted: %v, before %v", got, after)
	}
	if code, body := page(t, a, "/costs?days=365"); code != 200 || !strings.Contains(body, "CHF and ") || !strings.Contains(body, "have no stored price") {
		t.Errorf("/costs: %d\n%s", code, body)
	}
	stop()
	m.kept(rows["minutes"], m.rows()["minutes"])
	if !reflect.DeepEqual(m.rows()["total_costs"], rows["total_costs"]) || !reflect.DeepEqual(m.rows()["hour_costs"], rows["hour_costs"]) {
		t.Error("sums have changed without a tariff")
	}
}

// without returns counters without those of a currency.
func without(m map[string]float64, currency string) map[string]float64 {
	out := map[string]float64{}
	for k, v := range m {
		if !strings.Contains(k, `"`+currency+`"`) {
			out[k] = v
		}
	}
	return out
}
