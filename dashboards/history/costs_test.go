package history

import (
	"context"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
)

// chargedMinute is a minute as the database holds it.
type chargedMinute struct {
	start   station.Instant
	segment uint32
	cost.Charge
}

func storedCharges(t rapid.TB, s *Store) []chargedMinute {
	t.Helper()
	rows, err := s.read.Query(`SELECT start, segment, inlet, ` + chargeColumns + ` FROM minutes ORDER BY station, start, segment`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var out []chargedMinute
	for rows.Next() {
		var m chargedMinute
		var inlet station.Microlitres
		var r chargeRow
		if err := rows.Scan(append([]any{&m.start, &m.segment, &inlet}, r.fields()...)...); err != nil {
			t.Fatal(err)
		}
		m.Charge = r.charge(inlet)
		out = append(out, m)
	}
	return out
}

func drawCharge(t *rapid.T, m *station.Minute) cost.Charge {
	if rapid.Bool().Draw(t, "unknown") {
		return cost.Charge{}
	}
	c := cost.Charge{Known: true, Inlet: m.Inlet, Energy: rapid.Int64Range(0, 1e11).Draw(t, "energy")}
	if c.Currency = rapid.SampledFrom([]string{"", "EUR", "CHF"}).Draw(t, "currency"); c.Currency != "" {
		c.Money = rapid.Int64Range(0, 1e11).Draw(t, "money")
	}
	if rapid.Bool().Draw(t, "carbon known") {
		c.CarbonKnown, c.Carbon = true, rapid.Int64Range(0, 1e11).Draw(t, "carbon")
	}
	return c
}

// sumsOf adds up charges by hour.
func sumsOf(list []chargedMinute) map[station.Instant]cost.Account {
	out := map[station.Instant]cost.Account{}
	for _, m := range list {
		a := out[m.start.Floor(hourLen)]
		a.Add(m.Line())
		if len(a) > 0 {
			out[m.start.Floor(hourLen)] = a
		}
	}
	return out
}

// sameCosts fails unless each hour's costs are the sums of its minutes'.
func sameCosts(t rapid.TB, s *Store) {
	t.Helper()
	want := sumsOf(storedCharges(t, s))
	for h := t0; h < t0.Add(4*hourLen); h = h.Add(hourLen) {
		got, err := s.Costs(context.Background(), press, h, h.Add(hourLen))
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got, want[h]) {
			t.Fatalf("hour %s: %+v, the minutes' sum %+v", h, got, want[h])
		}
	}
}

// However minutes come in, in commits, imports and replacements, repeated and late: an hour costs what its stored minutes
// cost.
func TestCostsAreTheSumsOfTheirMinutes(t *testing.T) {
	s := fresh(t)
	position := uint64(0)
	rapid.Check(t, func(rt *rapid.T) {
		if _, err := s.write.Exec(`DELETE FROM minutes; DELETE FROM hours; DELETE FROM hour_costs; DELETE FROM total_costs`); err != nil {
			rt.Fatal(err)
		}
		for range rapid.IntRange(1, 5).Draw(rt, "writes") {
			position++
			var ms []station.Minute
			var cs []cost.Charge
			for range rapid.IntRange(0, 8).Draw(rt, "minutes") {
				ms = append(ms, drawMinute(rt, 3))
				cs = append(cs, drawCharge(rt, &ms[len(ms)-1]))
			}
			var err error
			switch rapid.IntRange(0, 2).Draw(rt, "way") {
			case 0:
				err = s.Import(context.Background(), StationMinutes{Key: press, Revision: 7, Minutes: ms, Charges: cs})
			case 1:
				c := commit(position, ms)
				c.Stations[0].Charges = cs
				err = s.Commit(context.Background(), []Commit{c})
			case 2:
				err = replaceAll(s, ms, cs)
			}
			if err != nil {
				rt.Fatal(err)
			}
		}
		sameCosts(rt, s)
	})
}

// replaceAll replaces those of the minutes that are stored.
func replaceAll(s *Store, ms []station.Minute, cs []cost.Charge) error {
	var list []Changed
	stored, err := s.Minutes(context.Background(), press, 0, ever)
	for i := range ms {
		for _, was := range stored {
			if was.Start == ms[i].Start && was.Segment == ms[i].Segment {
				list = append(list, Changed{Was: was, Is: ms[i], Charge: cs[i]})
				stored = slices.DeleteFunc(stored, func(x station.Minute) bool { return x.Start == was.Start && x.Segment == was.Segment })
				break
			}
		}
	}
	if err != nil || len(list) == 0 {
		return err
	}
	return s.Replace(context.Background(), press, 8, list, Act{})
}

func priced(n int, currency string, money int64) (station.Minute, cost.Charge) {
	m := minute(n)
	return m, cost.Charge{Known: true, Inlet: m.Inlet, Energy: 10 * money, Money: money, Currency: currency, Carbon: 3, CarbonKnown: true}
}

// Totals: the sum of what was committed, over a change of the currency; imports are in hours alone; what comes again
// with another price changes nothing; a replaced minute counts as the difference.
func TestTotalCosts(t *testing.T) {
	s := fresh(t)
	write := func(past bool, ms []station.Minute, cs []cost.Charge) {
		t.Helper()
		if past {
			if err := s.Import(t.Context(), StationMinutes{Key: press, Minutes: ms, Charges: cs}); err != nil {
				t.Fatal(err)
			}
			return
		}
		pos, err := s.Positions(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		c := commit(pos[5]+1, ms)
		c.Stations[0].Charges = cs
		do(t, s, c)
	}
	total := func(want ...cost.Line) {
		t.Helper()
		got, err := s.TotalCosts(t.Context())
		if err != nil || !slices.Equal(got[press], want) {
			t.Errorf("%+v, %v\nwant %+v", got[press], err, want)
		}
		sameCosts(t, s)
	}
	m0, c0 := priced(0, "EUR", 100)
	m1, c1 := priced(1, "CHF", 70)
	m2, c2 := priced(2, "EUR", 5)
	write(false, []station.Minute{m0, m1, minute(3)}, []cost.Charge{c0, c1, {}})
	write(true, []station.Minute{m2}, []cost.Charge{c2})
	chf := cost.Line{Currency: "CHF", Minutes: 1, Inlet: 5, Energy: 700, Money: 70, CarbonMinutes: 1, Carbon: 3}
	eur := cost.Line{Currency: "EUR", Minutes: 1, Inlet: 5, Energy: 1000, Money: 100, CarbonMinutes: 1, Carbon: 3}
	total(chf, eur)
	before := storedCharges(t, s)
	_, dearer := priced(0, "EUR", 999)
	write(false, []station.Minute{m0}, []cost.Charge{dearer})
	if after := storedCharges(t, s); !reflect.DeepEqual(before, after) {
		t.Errorf("%+v\nwas %+v", after, before)
	}
	total(chf, eur)
	is := m0
	is.Inlet, is.Strokes = 7, 1
	if err := s.Replace(t.Context(), press, 8, []Changed{{Was: m0, Is: is, Charge: cost.Charge{Known: true, Inlet: 7, Energy: 1400, Money: 140, Currency: "EUR"}}}, Act{}); err != nil {
		t.Fatal(err)
	}
	total(chf, cost.Line{Currency: "EUR", Minutes: 1, Inlet: 7, Energy: 1400, Money: 140})
	hours, err := s.Costs(t.Context(), press, t0, t0.Add(hourLen))
	if err != nil || len(hours) != 2 || hours[1].Minutes != 2 || hours[1].Money != 145 || hours[0] != chf {
		t.Errorf("%+v, %v", hours, err)
	}
	if _, _, err := s.Retain(t.Context(), Retention{Hours: t0.Add(hourLen)}); err != nil {
		t.Fatal(err)
	}
	if hours, err = s.Costs(t.Context(), press, 0, ever); err != nil || len(hours) != 0 {
		t.Errorf("old hours still cost %+v, %v", hours, err)
	}
	if got, _ := s.TotalCosts(t.Context()); len(got[press]) != 2 {
		t.Errorf("retention changed the totals: %+v", got)
	}
}

// A database from before costs were stored: its minutes keep what they were, have no price and get none; new ones add up
// beside them.
func TestWhatWasStoredBeforeHasNoPrice(t *testing.T) {
	s := broughtUp(t, "version9costs.sql")
	old := storedCharges(t, s)
	ms, err := s.Minutes(t.Context(), press, 0, ever)
	if err != nil || len(ms) != 4 || len(old) != 4 || !reflect.DeepEqual(ms[0], minute(0)) {
		t.Fatalf("%d minutes, %d charges, %v", len(ms), len(old), err)
	}
	for _, m := range old {
		if m.Charge != (cost.Charge{}) {
			t.Errorf("%+v", m)
		}
	}
	sameHours(t, s)
	m, c := priced(30, "EUR", 11)
	next := commit(999, []station.Minute{minute(0), m})
	next.Stations[0].Charges = []cost.Charge{c, c}
	do(t, s, next)
	want := cost.Account{{Currency: "EUR", Minutes: 1, Inlet: 5, Energy: 110, Money: 11, CarbonMinutes: 1, Carbon: 3}}
	hour, err := s.Costs(t.Context(), press, t0, t0.Add(hourLen))
	if err != nil || !slices.Equal(hour, want) {
		t.Errorf("%+v, %v", hour, err)
	}
	if got, err := s.TotalCosts(t.Context()); err != nil || len(got) != 1 || !slices.Equal(got[press], want) {
		t.Errorf("%+v, %v", got, err)
	}
	sameCosts(t, s)
	hs, err := s.Hours(t.Context(), press, t0, t0.Add(1))
	if err != nil || hs[0].Minutes != 3 {
		t.Errorf("%+v, %v", hs, err)
	}
}

// Sums stop before they overflow, in memory as in the database, and commits go on.
func TestSumsStop(t *testing.T) {
	s := fresh(t)
	var want cost.Account
	for n := range 3 {
		m := minute(n)
		c := commit(uint64(n+1), []station.Minute{m})
		c.Stations[0].Charges = []cost.Charge{{Known: true, Inlet: m.Inlet, Energy: 5e18, Money: 4e18, Currency: "EUR", Carbon: 8e18, CarbonKnown: true}}
		do(t, s, c)
		want.Add(c.Stations[0].Charges[0].Line())
	}
	got, err := s.TotalCosts(t.Context())
	if err != nil || !slices.Equal(got[press], want) || want[0].Energy != cost.MostSum || want[0].Money != cost.MostSum {
		t.Errorf("%+v, %v, want %+v", got, err, want)
	}
}
