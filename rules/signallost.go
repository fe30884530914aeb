package rules

import "strokewise/analyzer/station"

// signalLost: a periodic pressure channel is silent.
func (v *Evaluator) signalLost(now station.Instant, a *Arrivals) verdict {
	if v.plate.Cadence == station.OnChange {
		return verdict{}
	}
	limit := v.silence()
	c := verdict{answer: no, message: "All pressure channels are heard again."}
	for _, ch := range [...]station.Channel{station.InletPressure, station.OutletPressure} {
		since, text := a[ch], "last heard "
		if now.Sub(max(since, v.Watched)) <= limit {
			continue
		}
		if since == 0 {
			since, text = v.Watched, "never heard, watched since "
		}
		if c.answer == no {
			c = verdict{answer: yes, message: "No data from the station's pressure sensors."}
		}
		c.evidence = append(c.evidence, Evidence{Name: ch.String(), Text: text + since.Floor(station.Second).String()})
	}
	return c
}

func (v *Evaluator) silence() int64 {
	if v.plate.Silence > 0 {
		return int64(v.plate.Silence)
	}
	return SilenceNs
}
