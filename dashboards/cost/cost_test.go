package cost

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
	"time"

	"strokewise/analyzer/station"
)

// euro are rates as people enter them, kWh/m³, EUR/kWh and kg/kWh.
func euro(energy, price, carbon float64) Rates {
	return RatesOf(energy*3.6e6, station.Price{PerJoule: price / 3.6e6, Currency: "EUR"}, carbon/3.6e6)
}

func drawn(at station.Instant, v station.Microlitres) *station.Minute {
	return &station.Minute{Start: at, Inlet: v}
}

// By hand: 10 m³ at 0.12 kWh/m³ are 1.2 kWh; at 0.18 a kWh 0.216; at 0.30 kg/kWh 0.36 kg.
func TestWorkedExample(t *testing.T) {
	only := &Tariffs{List: []Tariff{{From: Always, Rates: euro(0.12, 0.18, 0.30)}}}
	c := only.Of(drawn(0, 10e9))
	if want := (Charge{Known: true, Inlet: 10e9, Energy: 1.2 * 3.6e9, Money: 216_000, Currency: "EUR", Carbon: 360e6, CarbonKnown: true}); c != want {
		t.Errorf("%+v, want %+v", c, want)
	}
}

// Esposito, Fluid Power with Applications, example 14-4: of 270 scfm, for which a compressor takes 52.3 kW, 70 leak. At
// 0.11 a kWh that is 13.6 kW, and 13,105 in 8,760 h. The specific energy is 52.3 kW over 270 ft³/min; the scfm is at
// 14.7 psia, but the law is linear in the volume and the condition cancels. The book rounds to 13.6 kW, 0.3 % of it.
func TestPublishedCostOfALeak(t *testing.T) {
	const foot3 = 0.3048 * 0.3048 * 0.3048 // m³
	site := &Tariffs{List: []Tariff{{From: Always, Rates: euro(52.3/(270*foot3*60), 0.11, 0)}}}
	var a Account
	for m := range int64(8760 * 60) {
		c := site.Of(drawn(station.Instant(m*station.Minute60), station.MicrolitresOf(70*foot3*1e3)))
		a.Add(c.Line())
	}
	if got := a.All(); math.Abs(float64(got.Energy)/(13.6*8760*3.6e9)-1) > 0.004 {
		t.Errorf("%g kWh, want %g", float64(got.Energy)/3.6e9, 13.6*8760)
	}
	if len(a) != 1 || math.Abs(float64(a[0].Money)/13_105e6-1) > 0.004 {
		t.Errorf("%+v, want 13,105", a)
	}
}

// rounded returns x as a whole number, half away from zero.
func rounded(x *big.Rat) int64 {
	y := new(big.Rat).Add(x, big.NewRat(1, 2))
	return new(big.Int).Div(y.Num(), y.Denom()).Int64()
}

// The law in fractions, beside the program's whole numbers: source of the expectation is the formula of the package's
// document worked out in big.Rat from the entered decimals. One volume in 1,250 is a tie at these rates.
func TestChargesAreExact(t *testing.T) {
	r := euro(0.12, 0.18, 0.30)
	chance := rand.New(rand.NewPCG(1, 2))
	for n := range 20_000 {
		v := int64(n)
		if n >= 10_000 {
			v = chance.Int64N(1e11)
		}
		c := r.charge(station.Microlitres(v))
		energy := rounded(new(big.Rat).Mul(big.NewRat(v, 1e9), big.NewRat(12*36e8, 100)))
		money := rounded(new(big.Rat).Mul(big.NewRat(energy, 36e8), big.NewRat(18*1e6, 100)))
		carbon := rounded(new(big.Rat).Mul(big.NewRat(energy, 36e8), big.NewRat(3*1e9, 10)))
		if c.Energy != energy || c.Money != money || c.Carbon != carbon {
			t.Fatalf("%d µL: %+v, want %d mJ, %d, %d µg", v, c, energy, money, carbon)
		}
	}
}

func TestWhatIsNotKnownIsNotZero(t *testing.T) {
	at := func(r Rates, m *station.Minute) Charge {
		return (&Tariffs{List: []Tariff{{From: 100, Rates: r}}}).Of(m)
	}
	blind := drawn(200, 5e6)
	blind.AirReason = "no bores"
	priceless, powerless := euro(0.12, 0, 0), euro(0, 0.18, 0.3)
	priceless.Currency = ""
	for name, c := range map[string]Charge{
		"unknown air": at(euro(0.12, 0.18, 0.3), blind), "before the first tariff": at(euro(0.12, 0.18, 0.3), drawn(99, 5e6)),
		"no specific energy": at(powerless, drawn(200, 5e6)), "no section": (*Tariffs)(nil).Of(drawn(200, 5e6)),
		"more than can be": at(euro(0.12, 0.18, 0.3), drawn(200, math.MaxInt64)), "less than nothing": at(euro(0.12, 0.18, 0.3), drawn(200, -1)),
	} {
		if c != (Charge{}) || c.Line() != (Line{}) {
			t.Errorf("%s: %+v", name, c)
		}
	}
	if c := at(priceless, drawn(200, 1e9)); !c.Known || c.Currency != "" || c.CarbonKnown || c.Energy != 432_000_000 {
		t.Errorf("energy alone: %+v", c)
	}
	if c := at(euro(0.12, 0, 0.3), drawn(200, 1e9)); c.Currency != "EUR" || c.Money != 0 || !c.CarbonKnown {
		t.Errorf("a price of nothing: %+v", c)
	}
	if c := at(euro(0.12, 0.18, 0.3), drawn(200, 0)); !c.Known || c.Energy != 0 {
		t.Errorf("no air drawn: %+v", c)
	}
	if r := RatesOf(math.NaN(), station.Price{PerJoule: 1, Currency: "EUR"}, math.Inf(1)); r != (Rates{}) {
		t.Errorf("rates %+v", r)
	}
}

// The days on which Lisbon changes its clock in 2026 have 23 and 25 hours (IANA time zone database: 29 March, 25 October,
// at 01:00 UTC). Each day of a tariff begins at its own midnight.
func TestTariffsBeginAtLocalMidnightAlsoWhenTheClockChanges(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		month time.Month
		day   int
		hours int
	}{{time.March, 29, 23}, {time.October, 25, 25}, {time.June, 1, 24}} {
		begin, end := DayBegins(zone, 2026, c.month, c.day), DayBegins(zone, 2026, c.month, c.day+1)
		x := &Tariffs{Zone: zone, List: []Tariff{{From: Always, Rates: euro(0.12, 0.1, 0)}, {From: begin, Rates: euro(0.12, 0.2, 0)}, {From: end, Rates: euro(0.12, 0.1, 0)}}}
		n := 0
		for m := begin.Add(-3 * 60 * station.Minute60); m < end.Add(3*60*station.Minute60); m = m.Add(station.Minute60) {
			local := m.Time().In(zone)
			if on := local.Month() == c.month && local.Day() == c.day; on != (x.At(m).Price == 200_000_000) {
				t.Fatalf("%s: price %d", local, x.At(m).Price)
			} else if on {
				n++
			}
		}
		if n != c.hours*60 {
			t.Errorf("%s %d: %d minutes, want %d h", c.month, c.day, n, c.hours)
		}
	}
}

// Days that begin at 01:00 (Beirut, 29 March 2026: the clock skips midnight) and with two midnights (Havana, 1 November
// 2026: 01:00 becomes 00:00). Source: IANA time zone database.
func TestDaysWithoutMidnightAndWithTwo(t *testing.T) {
	for zone, want := range map[string]time.Time{
		"Asia/Beirut": time.Date(2026, 3, 28, 22, 0, 0, 0, time.UTC), "America/Havana": time.Date(2026, 11, 1, 4, 0, 0, 0, time.UTC),
		"Pacific/Kiritimati": time.Date(2026, 5, 1, 10, 0, 0, 0, time.UTC), "Asia/Kathmandu": time.Date(2026, 5, 1, 18, 15, 0, 0, time.UTC),
	} {
		z, err := time.LoadLocation(zone)
		if err != nil {
			t.Fatal(err)
		}
		day := map[string][2]int{"Asia/Beirut": {3, 29}, "America/Havana": {11, 1}, "Pacific/Kiritimati": {5, 2}, "Asia/Kathmandu": {5, 2}}[zone]
		if got := DayBegins(z, 2026, time.Month(day[0]), day[1]); got != station.InstantOf(want) {
			t.Errorf("%s: %s, want %s", zone, got, want)
		}
	}
}

// Night hours from Monday to Friday, 22:00 to 06:00: Saturday's small hours belong to Friday's night, and an hour that
// comes twice is night twice.
func TestHoursOfTheDay(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	night := Hours{Days: [7]bool{1: true, 2: true, 3: true, 4: true, 5: true}, From: 22 * 60, To: 6 * 60, Price: 90_000_000}
	x := &Tariffs{Zone: zone, List: []Tariff{{From: Always, Rates: euro(0.12, 0.18, 0), Hours: []Hours{night}}}}
	for clock, low := range map[string]bool{
		"2026-06-05 21:59": false, "2026-06-05 22:00": true, "2026-06-06 05:59": true, "2026-06-06 06:00": false, "2026-06-06 22:00": false,
		"2026-06-07 23:00": false, "2026-06-08 01:00": false, "2026-06-08 23:00": true,
	} {
		at, err := time.ParseInLocation("2006-01-02 15:04", clock, zone)
		if err != nil {
			t.Fatal(err)
		}
		if got := x.At(station.InstantOf(at)).Price == 90_000_000; got != low {
			t.Errorf("%s: low price %v, want %v", clock, got, low)
		}
	}
	// the night of Friday to Saturday 40 of 168 h: 0.18 - 40/168 * 0.09
	if got, want := x.List[0].MeanPrice(), 0.18-40./168*0.09; math.Abs(got-want) > 1e-9 {
		t.Errorf("mean %g, want %g", got, want)
	}
	n := 0
	for m := DayBegins(zone, 2026, 10, 25); m < DayBegins(zone, 2026, 10, 26); m = m.Add(station.Minute60) {
		if (&Hours{Days: [7]bool{0: true}, From: 0, To: 120}).Contain(m.Time().In(zone).Weekday(), m.Time().In(zone).Hour()*60+m.Time().In(zone).Minute()) {
			n++
		}
	}
	if n != 180 {
		t.Errorf("00:00 to 02:00 on a day whose 01:00 comes twice: %d minutes, want 180", n)
	}
}

func TestCurrenciesAreNeverAdded(t *testing.T) {
	var a Account
	a.Add(Line{Currency: "EUR", Minutes: 1, Inlet: 5, Energy: 10, Money: 7})
	a.Add(Line{Currency: "CHF", Minutes: 1, Inlet: 5, Energy: 10, Money: 9, CarbonMinutes: 1, Carbon: 3})
	a.Add(Line{Minutes: 1, Inlet: 2, Energy: 4})
	a.Add(Line{})
	if len(a) != 3 || a[1].Money != 9 || a[2].Money != 7 {
		t.Fatalf("%+v", a)
	}
	if got := a.All(); got != (Line{Minutes: 3, Inlet: 12, Energy: 24, CarbonMinutes: 1, Carbon: 3}) {
		t.Errorf("%+v", got)
	}
	if n, v := a.Priced(); n != 2 || v != 10 {
		t.Errorf("%d minutes, %d µL", n, v)
	}
	a.Add(a[1].Less())
	if a[1] != (Line{Currency: "CHF"}) {
		t.Errorf("%+v", a[1])
	}
}

// A doubling booster draws about two litres for one delivered: a leak behind it costs so
// much more, and never more than all.
func TestLeakAtInlet(t *testing.T) {
	s := Sum{Inlet: 200, Delivered: 100, Leak: 10}
	if got := s.LeakAtInlet(); got != 20 {
		t.Errorf("%d", got)
	}
	s.Leak = 1000
	if got := s.LeakAtInlet(); got != 200 {
		t.Errorf("%d", got)
	}
	if got := (&Sum{Leak: 5}).LeakAtInlet(); got != 0 {
		t.Errorf("%d", got)
	}
}
