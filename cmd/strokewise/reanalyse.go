package main

import (
	"fmt"
	"path/filepath"
	"text/tabwriter"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/app"
	"strokewise/cmd/internal/config"
	"strokewise/cmd/internal/reanalyse"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/history"
	"strokewise/dashboards/influx"
)

type reanalyseCmd struct {
	Config  string    `required:"" placeholder:"FILE" help:"Configuration file."`
	Station string    `placeholder:"ID" help:"Only this station, or SITE/ID."`
	From    time.Time `placeholder:"TIME" help:"First minute, RFC 3339; default: half an hour behind the log's beginning."`
	To      time.Time `placeholder:"TIME" help:"Up to this time; default: the log's end."`
	Write   bool      `help:"Put what came out in the place of what is stored. Without it, only tell."`
}

// Run compares, and replaces on request; the program must not be running.
func (c *reanalyseCmd) Run(e *env) error {
	defer private()()
	cfg, err := load(c.Config, false)
	if err != nil {
		return err
	}
	chosen, err := choose(cfg, c.Station)
	if err != nil {
		return err
	}
	var exporters []string
	if cfg.Influx.URL != "" {
		exporters = []string{influx.Name} // what is replaced is exported again
	}
	log, store, err := openPast(e, cfg, "before its minutes are changed", exporters...)
	if err != nil {
		return err
	}
	defer log.Close()
	defer store.Close()
	shown := newShownLog(e, log, "reanalyse", chosen)
	results, err := reanalyse.Run(e.ctx, shown, store, chosen, instant(c.From), instant(c.To))
	shown.bar.End()
	if err != nil {
		return err
	}
	if c.Write {
		reprice(cfg, results)
		if err := c.replace(e, store, results); err != nil {
			return err
		}
	}
	return c.tell(e, results)
}

// choose gives the stations of a name, ID or SITE/ID; "": all.
func choose(cfg *config.Config, name string) ([]reanalyse.Station, error) {
	var chosen []reanalyse.Station
	for _, s := range cfg.Stations {
		if k := s.Plate.Key; name == "" || name == k.Station || name == k.String() {
			chosen = append(chosen, reanalyse.Station{Plate: s.Plate, Revision: s.Revision})
		}
	}
	if len(chosen) == 0 {
		return nil, fmt.Errorf("cannot find station %.60q in %s", name, cfg.File)
	}
	return chosen, nil
}

// openPast opens the log and the history of a program that does not run; when says before
// what it must be stopped.
func openPast(e *env, cfg *config.Config, when string, exporters ...string) (*samplelog.JetStream, *history.Store, error) {
	var external app.Options
	if err := externalLog(&external, &cfg.Log); err != nil {
		return nil, nil, err
	}
	log, err := samplelog.Open(e.ctx, samplelog.Options{Dir: filepath.Join(cfg.Data, "log"), MaxBytes: cfg.Log.MaxBytes, SyncAlways: cfg.Log.SyncAlways,
		URL: external.LogURL, Login: external.LogLogin, Prefix: external.LogPrefix, Keys: external.LogKeys, Logger: e.log})
	if err != nil {
		return nil, nil, fmt.Errorf("%w (stop the program %s)", err, when)
	}
	store, err := history.Open(filepath.Join(cfg.Data, "history.db"), history.Options{SyncAlways: cfg.Log.SyncAlways, Exporters: exporters})
	if err != nil {
		log.Close()
		return nil, nil, err
	}
	return log, store, nil
}

func instant(t time.Time) station.Instant {
	if t.IsZero() {
		return 0
	}
	return station.InstantOf(t)
}

func (c *reanalyseCmd) replace(e *env, store *history.Store, results []reanalyse.Result) error {
	for _, r := range results {
		if len(r.Changed)+len(r.Figures) == 0 {
			continue
		}
		act := history.Act{At: station.InstantOf(time.Now()), Who: who(), What: "reanalyse", Target: r.Key.String(),
			Detail: fmt.Sprintf("%d of %d minutes and figures of %d hours from %s, by engine revision %d", len(r.Changed), r.Compared, len(r.Figures), began(&r), reanalyse.Revision)}
		if err := store.Replace(e.ctx, r.Key, reanalyse.Revision, r.Changed, act, r.Figures...); err != nil {
			return err
		}
	}
	return nil
}

// reprice values what is to be replaced at the tariff that was in force when each minute started, by the configuration's
// dates.
func reprice(cfg *config.Config, results []reanalyse.Result) {
	for _, r := range results {
		tariffs := cfg.Site(r.Key.Site).Costs()
		for i := range r.Changed {
			x := &r.Changed[i]
			x.Charge = tariffs.Of(&x.Is)
		}
	}
}

// began gives the earliest time that a result changes.
func began(r *reanalyse.Result) station.Instant {
	if len(r.Changed) == 0 {
		return r.Figures[0].Start
	}
	if at := r.Changed[0].Was.Start; len(r.Figures) == 0 || at < r.Figures[0].Start {
		return at
	}
	return r.Figures[0].Start
}

// tell prints what differs.
func (c *reanalyseCmd) tell(e *env, results []reanalyse.Result) error {
	t := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "station\tminutes compared\tchanged\thours of figures\tstrokes\tinlet air, L ANR\tdelivered air, L ANR\tworking, s")
	total, hours := 0, 0
	for _, r := range results {
		var was, is effect
		for i := range r.Changed {
			was.add(&r.Changed[i].Was)
			is.add(&r.Changed[i].Is)
		}
		total, hours = total+len(r.Changed), hours+len(r.Figures)
		fmt.Fprintf(t, "%s\t%d\t%d\t%d\t%d -> %d\t%.1f -> %.1f\t%.1f -> %.1f\t%.0f -> %.0f\n", r.Key, r.Compared, len(r.Changed), len(r.Figures),
			was.strokes, is.strokes, was.inlet, is.inlet, was.delivered, is.delivered, was.working, is.working)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	switch {
	case total+hours == 0:
		fmt.Fprintln(e.out, "nothing differs")
	case c.Write:
		fmt.Fprintf(e.out, "%d minutes replaced, and the figures of %d hours; totals, hours and exports follow\n", total, hours)
	default:
		fmt.Fprintf(e.out, "%d minutes differ, and the figures of %d hours; nothing was changed, --write puts them in place\n", total, hours)
	}
	return nil
}

// effect is the sum over the changed minutes.
type effect struct {
	strokes                   int64
	inlet, delivered, working float64
}

func (s *effect) add(m *station.Minute) {
	s.strokes += m.Strokes
	s.inlet += m.Inlet.Litres()
	s.delivered += m.Delivered.Litres()
	s.working += float64(m.StateNs[station.Charging]+m.StateNs[station.Stroking]) * 1e-9
}
