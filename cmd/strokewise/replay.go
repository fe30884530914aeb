package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/config"
	"strokewise/cmd/internal/pipeline"
	"strokewise/cmd/internal/report"
	"strokewise/collector/trace"
)

type replayCmd struct {
	Config  string    `required:"" placeholder:"FILE" help:"Configuration file; one station and no broker will do."`
	Station string    `placeholder:"ID" help:"Station of the traces, or SITE/ID; may be left out where the file has one."`
	JSON    bool      `help:"Print one JSON object instead of a table."`
	Alarms  bool      `help:"Print the alarms too."`
	Explain bool      `help:"Say of each figure how it was obtained: method, window, inputs, formula, source, confidence."`
	From    time.Time `placeholder:"TIME" help:"Print what begins at this time or later, RFC 3339; what comes before is analysed all the same."`
	To      time.Time `placeholder:"TIME" help:"Print what begins before this time."`
	Changes string    `placeholder:"FILE" help:"List as under alarms in the configuration: compare what it would raise with what the present alarms raise."`
	Strokes bool      `help:"Give each stroke (JSON only)."`
	Trace   []string  `arg:"" help:"Recorded traces (CSV, may be gzipped), in order of time."`
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
	for _, path := range c.Trace {
		if err := play(path, s.Plate.AmbientPressure(), u, changed); err != nil {
			return err
		}
	}
	u.Flush()
	ref := station.ANR
	if site := cfg.Site(s.Plate.Key.Site); site != nil {
		ref = site.Air.Reference
	}
	r := report.BuildOf(u, ref, instant(c.From), instant(c.To))
	if !c.Alarms {
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

// play runs one trace through a unit, and through another one if there is one. A sample
// arrives when it is taken.
func play(path string, ambient station.Absolute, u, other *pipeline.Unit) error {
	r, err := trace.Open(path, ambient)
	if err != nil {
		return err
	}
	defer r.Close()
	for {
		blocks, err := r.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		var last station.Instant
		for i := range blocks {
			last = max(last, blocks[i].At(blocks[i].Len()-1))
		}
		u.Samples(blocks, last)
		if other != nil {
			other.Samples(blocks, last)
			other.Forget()
		}
	}
}
