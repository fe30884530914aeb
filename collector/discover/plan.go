package discover

import (
	"fmt"
	"slices"
	"strings"

	"strokewise/analyzer/station"
)

// Plan is what is to be configured: what was proposed, as people have changed it.
type Plan struct {
	Broker   string
	User     string // at the broker; "": none
	Data     string // folder; "": the usual one
	Listen   string // of the pages; "": the usual address
	Site     string
	Zone     string // "": UTC
	Stations []Planned
}

// Planned is a station of a plan.
type Planned struct {
	ID       string
	Channels []Choice
	Plate    map[string]string // values as people write them, by the keys of Steps
}

// Choice is what a series is taken for.
type Choice struct {
	Series  int
	Channel station.Channel
	Unit    string // of a pressure: a unit, Counts or Milliamps; "": that of the payload
	Scale   string // of Counts: the numbers at 4 and 20 mA, "0..27648"
	Span    string // of Counts and Milliamps: the sensor's range, "0 bar..16 bar"; "": not known
}

// Plan returns the plan that takes over all that was proposed.
func (f *Findings) Plan() *Plan {
	p := &Plan{Site: "plant"}
	for i := range f.Stations {
		s := Planned{ID: f.Stations[i].ID}
		for _, a := range f.Stations[i].Channels {
			c, _ := channelOf(a.Channel)
			s.Channels = append(s.Channels, f.Choice(a.Series, c))
		}
		p.Stations = append(p.Stations, s)
	}
	return p
}

// Choice returns how a series is taken for a channel, by the likeliest guess.
func (f *Findings) Choice(series int, c station.Channel) Choice {
	out := Choice{Series: series, Channel: c}
	s := &f.Series[series]
	if !c.IsPressure() || s.Unit != "" {
		return out
	}
	out.Unit = "kPa"
	for _, g := range s.Guesses {
		if g.Is == Pressure {
			out.Unit = g.Unit
			break
		}
	}
	if out.Unit == Counts {
		out.Scale = fmt.Sprintf("0..%.0f", scaleOf(s.High))
	}
	return out
}

// scaleOf returns the number at 20 mA of the card that a highest number comes from most likely.
func scaleOf(high float64) float64 {
	if high > fullScales[0]*1.185 || high < fullScales[0]/4 {
		for _, full := range fullScales[1:] {
			if high <= full*1.185 {
				return full
			}
		}
	}
	return fullScales[0]
}

// Check returns what is wrong with a plan, nil where nothing is.
func (p *Plan) Check(f *Findings) error {
	if !isName(p.Site) {
		return fmt.Errorf("the site %.40q is no identifier: at most 64 letters, digits, - and _", p.Site)
	}
	ids, series := make(map[string]bool), make(map[int]string)
	for i := range p.Stations {
		s := &p.Stations[i]
		if !isName(s.ID) {
			return fmt.Errorf("the station %.40q is no identifier: at most 64 letters, digits, - and _", s.ID)
		}
		if ids[s.ID] {
			return fmt.Errorf("two stations are called %s", s.ID)
		}
		ids[s.ID] = true
		var seen []station.Channel
		for _, c := range s.Channels {
			if c.Series < 0 || c.Series >= len(f.Series) {
				return fmt.Errorf("station %s: there is no value %d", s.ID, c.Series)
			}
			if slices.Contains(seen, c.Channel) {
				return fmt.Errorf("station %s: two values are its %s", s.ID, c.Channel)
			}
			if by, ok := series[c.Series]; ok {
				return fmt.Errorf("one value is taken for station %s and for %s", by, s.ID)
			}
			seen, series[c.Series] = append(seen, c.Channel), s.ID
		}
	}
	return nil
}

// isName reports whether a text can be the identifier of a site or a station.
func isName(s string) bool {
	return s != "" && len(s) <= 64 && strings.IndexFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_')
	}) < 0
}

// Pressure returns how a series would be taken for a pressure.
func (f *Findings) Pressure(series int) Choice { return f.Choice(series, station.OutletPressure) }

// Channels lists the channels that a series can be taken for.
func Channels() []string { return station.ChannelNames() }

// ParseChannel finds a channel by its name.
func ParseChannel(name string) (station.Channel, bool) { return channelOf(name) }

// PressureUnits lists the units that a pressure may be guessed to be in.
func PressureUnits() []string {
	out := make([]string, len(unitGuesses))
	for i, u := range unitGuesses {
		out[i] = u.unit
	}
	return out
}
