package engine

import (
	"math"
	"strings"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// computed and measured give a value, words a text.
func computed(name string, v float64, unit string) station.Input {
	return station.Value(name, finite(v), unit, station.Computed)
}

func measured(name string, v float64, unit string) station.Input {
	return station.Value(name, finite(v), unit, station.Measured)
}

func words(name, text string, from station.Origin) station.Input {
	return station.Input{Name: name, Text: text, Origin: from}
}

// plate gives an input of the plate, or says that it is missing.
func plate(name string, v, factor float64, unit string) station.Input {
	if v <= 0 {
		return station.Input{Name: name, Text: "not given", Origin: station.FromPlate}
	}
	return station.Value(name, v*factor, unit, station.FromPlate)
}

// assumed gives a constant.
func assumed(name string, v float64, unit, source string) station.Input {
	return station.Input{Name: name, Value: v, Unit: unit, Origin: station.Assumed, Source: source}
}

// at gives a time.
func at(name string, t station.Instant) station.Input {
	return station.Input{Name: name, Text: t.Floor(station.Second).String(), Origin: station.Measured}
}

// seen gives a pressure of a channel, if one has come.
func seen(name string, l *level) station.Input {
	if !l.Seen {
		return station.Input{Name: name, Text: "no reading yet", Origin: station.Measured}
	}
	return station.Value(name, l.Mean*1e-3, "kPa gauge", station.Measured)
}

// anr gives the pressure of the reference of air volumes.
func anr() station.Input {
	return assumed("p_0: pressure of ANR", float64(air.P0ANR)*1e-3, "kPa abs", "ISO 8778")
}

// finite keeps what is no number out of outputs.
func finite(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}

// figure gives another figure as an input of a name.
func (e *Engine) figure(name string, f station.Figure) station.Input {
	k, g := &station.Figures[f], &e.Est[f]
	if !g.Known() {
		return words(name, "unknown: "+g.Reason, station.Computed)
	}
	return computed(name, g.Value*k.Factor, strings.TrimSpace(k.Shown+map[bool]string{true: " ANR"}[k.Air]))
}

// ambient gives the ambient pressure: given, or standard.
func (e *Engine) ambient() station.Input {
	p := e.Plate.AmbientPressure()
	if e.Plate.Ambient > 0 {
		return station.Value("ambient pressure", float64(p)*1e-3, "kPa abs", station.FromPlate)
	}
	return assumed("ambient pressure", float64(p)*1e-3, "kPa abs", "standard atmosphere")
}

// setGiven gives the set pressure: the plate's, or the one that was learned.
func (e *Engine) setGiven() station.Input {
	if e.Plate.Set > 0 || e.Supply.LearnedSet <= 0 {
		return plate("set pressure", float64(e.Plate.Set), 1e-3, "kPa gauge")
	}
	return computed("set pressure, learned", e.Supply.LearnedSet*1e-3, "kPa gauge")
}

// counterSays returns in words what the counter is worth.
func (e *Engine) counterSays() string {
	switch {
	case !e.Fuse.CounterServes():
		return "none, or not believed"
	case e.Fuse.PerCycle:
		return "serves, counts cycles"
	}
	return "serves, counts strokes"
}
