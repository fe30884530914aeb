package cost

import (
	"slices"
	"strings"

	"strokewise/analyzer/station"
)

// Charge is what the air of a minute took and cost, in whole numbers. The zero value is not known.
type Charge struct {
	Known       bool // Energy is
	Inlet       station.Microlitres
	Energy      int64  // mJ
	Money       int64  // 1e-6 of Currency
	Currency    string // "": Money is not known
	Carbon      int64  // carbon dioxide, µg
	CarbonKnown bool
}

// Line is the sum of the minutes that were priced in one currency, or, with Currency "", of those whose energy is known
// and whose price is not.
type Line struct {
	Currency      string
	Minutes       int64
	Inlet         station.Microlitres // what they drew
	Energy, Money int64               // mJ; 1e-6 of Currency
	CarbonMinutes int64               // of them, those whose carbon dioxide is known
	Carbon        int64               // µg
}

// Line returns the charge as a sum of one minute; of none where it is not known.
func (c *Charge) Line() Line {
	if !c.Known {
		return Line{}
	}
	l := Line{Currency: c.Currency, Minutes: 1, Inlet: c.Inlet, Energy: c.Energy, Money: c.Money, Carbon: c.Carbon}
	if c.CarbonKnown {
		l.CarbonMinutes = 1
	}
	return l
}

// Less returns the line with its sign turned.
func (l Line) Less() Line {
	return Line{l.Currency, -l.Minutes, -l.Inlet, -l.Energy, -l.Money, -l.CarbonMinutes, -l.Carbon}
}

// Account sums up minutes by currency: sums in two currencies are never added. Lines are in order of currency, the one
// without a price first.
type Account []Line

// Add adds a line. One of no minutes changes nothing.
func (a *Account) Add(l Line) {
	if l == (Line{Currency: l.Currency}) {
		return
	}
	at, found := slices.BinarySearchFunc(*a, l.Currency, func(x Line, c string) int { return strings.Compare(x.Currency, c) })
	if !found {
		*a = slices.Insert(*a, at, Line{Currency: l.Currency})
	}
	x := &(*a)[at]
	x.Minutes += l.Minutes
	x.Inlet += l.Inlet
	x.Energy = plus(x.Energy, l.Energy)
	x.Money = plus(x.Money, l.Money)
	x.CarbonMinutes += l.CarbonMinutes
	x.Carbon = plus(x.Carbon, l.Carbon)
}

// MostSum is where sums stop: 250,000 times what a minute can have.
const MostSum = 9_000_000_000_000_000_000

// plus adds up to MostSum.
func plus(a, b int64) int64 {
	if b > 0 && a > MostSum-b {
		return MostSum
	}
	return a + b
}

// AtLeast returns the larger of the sums of each currency, each by itself.
func (a Account) AtLeast(o Account) Account {
	if len(o) == 0 {
		return a
	}
	out := slices.Clone(a)
	for _, l := range o {
		at, found := slices.BinarySearchFunc(out, l.Currency, func(x Line, c string) int { return strings.Compare(x.Currency, c) })
		if !found {
			out = slices.Insert(out, at, l)
			continue
		}
		x := &out[at]
		x.Minutes, x.Inlet, x.Energy, x.Money = max(x.Minutes, l.Minutes), max(x.Inlet, l.Inlet), max(x.Energy, l.Energy), max(x.Money, l.Money)
		x.CarbonMinutes, x.Carbon = max(x.CarbonMinutes, l.CarbonMinutes), max(x.Carbon, l.Carbon)
	}
	return out
}

// All returns the sum over the lines, without currency and money.
func (a Account) All() Line {
	var sum Line
	for _, l := range a {
		sum.Minutes += l.Minutes
		sum.Inlet += l.Inlet
		sum.Energy = plus(sum.Energy, l.Energy)
		sum.CarbonMinutes += l.CarbonMinutes
		sum.Carbon = plus(sum.Carbon, l.Carbon)
	}
	return sum
}

// Priced returns how many minutes have a price, and what they drew.
func (a Account) Priced() (minutes int64, inlet station.Microlitres) {
	for _, l := range a {
		if l.Currency != "" {
			minutes, inlet = minutes+l.Minutes, inlet+l.Inlet
		}
	}
	return minutes, inlet
}

// Currencies returns the currencies that the account or tariffs have, in order.
func (a Account) Currencies(t *Tariffs) []string {
	var out []string
	for _, l := range a {
		out = append(out, l.Currency)
	}
	if t != nil {
		for i := range t.List {
			out = append(out, t.List[i].Currency)
		}
	}
	slices.Sort(out)
	return slices.DeleteFunc(slices.Compact(out), func(c string) bool { return c == "" })
}

// Money returns what is spent in a currency, 1e-6 of it.
func (a Account) Money(currency string) int64 {
	for _, l := range a {
		if l.Currency == currency {
			return l.Money
		}
	}
	return 0
}
