package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/config"
	"strokewise/cmd/internal/progress"
	"strokewise/dashboards/export"
	"strokewise/dashboards/history"
	"strokewise/dashboards/influx"
)

type exportCmd struct {
	Config     string    `required:"" placeholder:"FILE" help:"Configuration file."`
	From       time.Time `required:"" placeholder:"TIME" help:"What starts at this time or later, RFC 3339."`
	To         time.Time `placeholder:"TIME" help:"What starts before this time, RFC 3339; default: now."`
	Format     string    `required:"" enum:"csv,parquet,influx" placeholder:"csv|parquet|influx" help:"What to write: a file, or the server of influx in the configuration."`
	Stations   []string  `placeholder:"ID,..." help:"Only these stations: ID, or SITE/ID; default: all that are configured."`
	Resolution string    `default:"minute" enum:"minute,hour" help:"Minutes, or hours: these are stored for longer."`
	Out        string    `short:"o" placeholder:"FILE" help:"File to write, a new one; - is the standard output (csv)."`
	serverFlags
}

// serverFlags name another server than that of the configuration.
type serverFlags struct {
	URL       string `name:"url" placeholder:"URL" help:"With --format influx: another server than the configuration's, without api/v2."`
	Org       string `placeholder:"NAME" help:"With --url: the organisation that the bucket belongs to."`
	Bucket    string `placeholder:"NAME" help:"With --url: the bucket."`
	TokenFile string `placeholder:"FILE" help:"With --url: file with the token."`
	CAFile    string `name:"ca-file" placeholder:"FILE" help:"With --url: certificate authorities, PEM."`
}

// Run exports stored minutes or hours; the program may be running.
func (c *exportCmd) Run(e *env) error {
	if c.To.IsZero() {
		c.To = time.Now()
	}
	if !c.From.Before(c.To) {
		return fmt.Errorf("--from is %s and --to %s: expected a time before it", c.From.Format(time.RFC3339), c.To.Format(time.RFC3339))
	}
	if err := c.out(); err != nil {
		return err
	}
	cfg, err := load(c.Config, false)
	if err != nil {
		return err
	}
	q := export.Query{From: station.InstantOf(c.From), To: station.InstantOf(c.To), Hourly: c.Resolution == "hour"}
	if q.Stations, err = c.choose(cfg); err != nil {
		return err
	}
	h, err := history.OpenReader(e.ctx, filepath.Join(cfg.Data, "history.db"))
	if err != nil {
		return err
	}
	defer h.Close()
	x := exporting{env: e, query: &q, history: h}
	if c.Format == "influx" {
		return c.toServer(&x, cfg)
	}
	if c.Out == "-" {
		return x.write(e.out, c.Format)
	}
	return c.toFile(&x)
}

// out checks where to write to.
func (c *exportCmd) out() error {
	switch {
	case c.Format == "influx" && c.Out != "":
		return errors.New("--out is for files: --format influx writes to a server")
	case c.Format != "influx" && c.URL != "":
		return errors.New("--url is for --format influx")
	case c.Format != "influx" && c.Out == "":
		return errors.New("--out is missing: name the file to write")
	case c.Format == "parquet" && c.Out == "-":
		return errors.New("a Parquet file cannot be written to the standard output: name a file in --out")
	}
	return nil
}

// choose returns the stations that were asked for, in the order of the configuration.
func (c *exportCmd) choose(cfg *config.Config) (out []export.Station, err error) {
	references := map[string]station.Reference{}
	for _, s := range cfg.Sites {
		references[s.ID] = s.Air.Reference
	}
	asked := slices.Clone(c.Stations)
	for _, s := range cfg.Stations {
		k := s.Plate.Key
		named := func(name string) bool { return name == k.Station || name == k.String() }
		if len(c.Stations) > 0 && !slices.ContainsFunc(c.Stations, named) {
			continue
		}
		asked = slices.DeleteFunc(asked, named)
		out = append(out, export.Station{Key: k, Branch: s.Plate.Branch, Reference: references[k.Site]})
	}
	if len(asked) > 0 {
		return nil, fmt.Errorf("cannot find station %.60q in %s", asked[0], cfg.File)
	}
	return out, nil
}

// exporting is an export at work.
type exporting struct {
	*env
	query   *export.Query
	history export.History
	rows    int64
}

// each reads everything, shows how far it is, and calls fn with what was read.
func (x *exporting) each(fn func(s *export.Station, rows []history.ExportRow) error) error {
	bar := progress.NewOrLines(x.err, time.Now, "export", progress.Pieces)
	defer bar.End()
	done, all := 0.0, float64(x.query.Pieces())
	return x.query.Each(x.ctx, x.history, func(s *export.Station, rows []history.ExportRow) error {
		err := fn(s, rows)
		x.rows += int64(len(rows))
		done++
		bar.Set(done, all)
		return err
	})
}

// write writes a file's contents.
func (x *exporting) write(to io.Writer, format string) error {
	w, err := export.NewWriter(to, format)
	if err != nil {
		return err
	}
	var out []export.Row
	err = x.each(func(s *export.Station, rows []history.ExportRow) error {
		out = out[:0]
		for i := range rows {
			out = append(out, export.RowOf(s, &rows[i]))
		}
		return w.Write(out)
	})
	if err != nil {
		return err
	}
	return w.Close()
}

// toFile writes a file, whole or not at all.
func (c *exportCmd) toFile(x *exporting) error {
	defer private()()
	f, err := export.Create(c.Out, x.end.unfinished)
	if err != nil {
		return err
	}
	if err := x.write(f, c.Format); err != nil {
		f.Abort()
		return err
	}
	if err := f.Commit(); err != nil {
		return err
	}
	return c.tell(x, c.Out)
}

func (c *exportCmd) tell(x *exporting, to string) error {
	stations := "1 station"
	if n := len(x.query.Stations); n != 1 {
		stations = fmt.Sprintf("%d stations", n)
	}
	_, err := fmt.Fprintf(x.out, "%s: %d %ss of %s\n", to, x.rows, c.Resolution, stations)
	return err
}

// toServer writes to a server with the InfluxDB v2 API.
func (c *exportCmd) toServer(x *exporting, cfg *config.Config) error {
	server := cfg.Influx
	if c.URL != "" {
		server = config.Influx{URL: c.URL, Org: c.Org, Bucket: c.Bucket, TokenFile: c.TokenFile, CAFile: c.CAFile}
		if err := server.Check(); err != nil {
			return err
		}
	}
	o, err := exporter(&server)
	if err != nil {
		return err
	}
	if o == nil {
		return fmt.Errorf("there is no server to export to: %s has no influx, and --url is not given", cfg.File)
	}
	o.Branches, o.References = map[station.Key]string{}, map[string]station.Reference{}
	for _, s := range x.query.Stations {
		o.Branches[s.Key], o.References[s.Key.Site] = s.Branch, s.Reference
	}
	to, err := influx.New(nil, *o, x.log)
	if err != nil {
		return err
	}
	if err := x.each(func(_ *export.Station, rows []history.ExportRow) error { return to.Backfill(x.ctx, rows) }); err != nil {
		return cmp.Or(context.Cause(x.ctx), err)
	}
	if n := to.Figures().Dropped; n["refused"] > 0 {
		return fmt.Errorf("%s has taken %d points and refused %d; the log names the first", o.URL, to.Figures().Points, n["refused"])
	}
	return c.tell(x, strings.TrimRight(o.URL, "/"))
}
