package main

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/config"
	"strokewise/cmd/internal/pipeline"
	"strokewise/cmd/internal/progress"
	"strokewise/cmd/internal/report"
)

type replayCmd struct {
	Config  string    `required:"" placeholder:"FILE" help:"Configuration file; one station and no broker will do."`
	Station string    `placeholder:"ID" help:"Station of the traces, or SITE/ID; may be left out where the file has one."`
	JSON    bool      `help:"Print one JSON object instead of a table."`
	Alarms  bool      `help:"Print the alarms too; the JSON object always has them."`
	Explain bool      `help:"Say of each figure how it was obtained: method, window, inputs, formula, source, confidence."`
	From    time.Time `placeholder:"TIME" help:"Print what begins at this time or later, RFC 3339; what comes before is analysed all the same."`
	To      time.Time `placeholder:"TIME" help:"Print what begins before this time."`
	Changes string    `placeholder:"FILE" help:"List as under alarms in the configuration: compare what it would raise with what the present alarms raise."`
	Words   string    `placeholder:"FILE" help:"List of what people said meanwhile, as in [{at: TIME, say: at-work, by: Ada, until: TIME, why: changing seals}]."`
	Strokes bool      `help:"Give each stroke (JSON only)."`
	Trace   []string  `arg:"" help:"Recorded traces (CSV, may be gzipped), in order of time; rows within one may be out of order by the station's lateness, or repeated."`
}

// Run replays the traces.
func (c *replayCmd) Run(e *env) error {
	if err := ordered(c.From, c.To); err != nil {
		return err
	}
	cfg, err := load(c.Config, true)
	if err != nil {
		return err
	}
	s, err := pick(cfg, c.Station)
	if err != nil {
		return err
	}
	u := pipeline.New(s.Plate, s.Revision)
	u.KeepStrokes = c.Strokes
	changed, err := c.changed(cfg)
	if err != nil {
		return err
	}
	said, err := readWords(c.Words)
	if err != nil {
		return err
	}
	p := player{key: s.Plate.Key, unit: u, other: changed, words: said, bar: progress.New(e.err, "replay", progress.Bytes), total: sizes(c.Trace)}
	defer p.bar.End()
	for _, path := range c.Trace {
		if err := p.play(e.ctx, path, s.Plate.AmbientPressure()); err != nil {
			return err
		}
	}
	p.bar.End()
	said.tell(e.err)
	if f := pipeline.Try(p.key, "the end of its trace", u.Flush); f != nil {
		return f
	}
	ref := station.ANR
	if site := cfg.Site(s.Plate.Key.Site); site != nil {
		ref = site.Air.Reference
	}
	r := report.Build(u, ref, instant(c.From), instant(c.To))
	r.LeftOut.FirstLate = p.firstLate
	if !c.Alarms && !c.JSON { // the object always has them
		r.Alarms = nil
	}
	if c.Explain {
		r.Explain(u, ref)
	}
	tested := c.compare(u, changed)
	r.Changes = changesOf(tested)
	if c.JSON {
		out := json.NewEncoder(e.out)
		return out.Encode(r)
	}
	if err := r.Table(e.out); err != nil || tested == nil {
		return err
	}
	fmt.Fprintln(e.out, "\nAlarms of the changed catalogue beside those of the present one")
	return tell(e.out, tested)
}

// pick finds the station.
func pick(cfg *config.Config, name string) (*config.Station, error) {
	var found []*config.Station
	var all []string
	for i := range cfg.Stations {
		k := cfg.Stations[i].Plate.Key
		all = append(all, k.String())
		if name == "" || name == k.Station || name == k.String() {
			found = append(found, &cfg.Stations[i])
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return nil, fmt.Errorf("cannot find station %q in %s: it has %s", name, cfg.File, strings.Join(all, ", "))
	}
	return nil, fmt.Errorf("cannot tell which station is meant: give --station, one of %s", strings.Join(all, ", "))
}
