package main

import (
	"strokewise/analyzer/station"
	"strokewise/cmd/internal/config"
	"strokewise/cmd/internal/pipeline"
	"strokewise/cmd/internal/reanalyse"
	"strokewise/cmd/internal/report"
)

// changed gives the station's unit with the changed catalogue, nil where none is asked for.
func (c *replayCmd) changed(cfg *config.Config) (*pipeline.Unit, error) {
	if c.Changes == "" {
		return nil, nil
	}
	if err := cfg.Rehearse(c.Changes); err != nil {
		return nil, err
	}
	s, err := pick(cfg, c.Station)
	if err != nil {
		return nil, err
	}
	return pipeline.New(s.Plate, s.Revision), nil
}

// compare sets the alarms of the changed catalogue beside those of the present one, within
// the span that is asked for and recorded.
func (c *replayCmd) compare(now, changed *pipeline.Unit) []reanalyse.Tested {
	if changed == nil {
		return nil
	}
	changed.Flush()
	from, to := instant(c.From), instant(c.To)
	if v := now.Out.Intervals; len(v) > 0 {
		from = max(from, v[0].From)
		if last := v[len(v)-1].To; to == 0 || to > last {
			to = last.Add(1) // what is raised at the very end counts
		}
	}
	return []reanalyse.Tested{reanalyse.Compare(now.Plate().Key, now.Out.Transitions, changed.Out.Transitions, from, to)}
}

// changesOf gives the comparison as the JSON object has it.
func changesOf(tested []reanalyse.Tested) []report.Change {
	var out []report.Change
	for i := range tested {
		for k := range tested[i].Pairs {
			p := &tested[i].Pairs[k]
			out = append(out, report.Change{Alarm: p.Any().Alarm, Kind: p.Kind(), Was: occurrence(p.Was), Is: occurrence(p.Is)})
		}
	}
	return out
}

func occurrence(o *reanalyse.Occurrence) *report.Occurrence {
	if o == nil {
		return nil
	}
	return &report.Occurrence{Raised: o.Raised.String(), Ended: text(o.Ended)}
}

// text gives a time, nil where there is none.
func text(t station.Instant) *string {
	if t == 0 {
		return nil
	}
	s := t.String()
	return &s
}
