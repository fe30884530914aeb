package rules

import "strokewise/analyzer/station"

// signalLost decides whether a periodic pressure channel is silent. Silence is counted from the
// newest sample, and at the earliest from when we began to listen (Watched): a start delays a new
// alarm. Only samples of both channels end one that stands, or a plate whose sensors publish on
// change.
func (v *Evaluator) signalLost(now station.Instant, a *Arrivals) verdict {
	if v.plate.Cadence == station.OnChange {
		return verdict{answer: no, message: "The configuration says that the sensors publish on change: silence is no fault.", trigger: PlateChanged}
	}
	limit := v.silence()
	c, silent := verdict{answer: no, message: "Both pressure channels send samples again."}, station.Sides(0)
	for _, ch := range [...]station.Channel{station.InletPressure, station.OutletPressure} {
		since, text := a[ch], "last heard "
		if now.Sub(since) <= limit {
			continue
		}
		if now.Sub(max(since, v.Watched)) <= limit {
			if c.answer == no {
				c = verdict{} // not heard, and not listened to for long enough
			}
			continue
		}
		if since == 0 {
			since, text = v.Watched, "never heard, watched since "
		}
		if c.answer != yes {
			c = verdict{answer: yes}
		}
		silent |= sideOf(ch)
		c.evidence = append(c.evidence, Evidence{Name: ch.String(), Text: text + since.Floor(station.Second).String()})
	}
	if c.answer == yes {
		c.message = "No data from the station's pressure sensors: " + silent.String() + "."
	}
	return c
}

// sideOf returns the side of a pressure channel.
func sideOf(c station.Channel) station.Sides {
	if c == station.InletPressure {
		return station.InletSide
	}
	return station.OutletSide
}

func (v *Evaluator) silence() int64 {
	if v.plate.Silence > 0 {
		return int64(v.plate.Silence)
	}
	return SilenceNs
}
