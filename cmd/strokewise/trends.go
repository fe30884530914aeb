package main

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"text/tabwriter"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/config"
	"strokewise/cmd/internal/progress"
	"strokewise/dashboards/history"
	"strokewise/dashboards/trend"
)

type trendsCmd struct {
	Config  string    `required:"" placeholder:"FILE" help:"Configuration file."`
	Station string    `placeholder:"ID" help:"Only this station, or SITE/ID."`
	Weeks   int       `default:"12" help:"Over how many weeks, 3 to 260."`
	To      time.Time `placeholder:"TIME" help:"Up to this time, RFC 3339; default: now."`
	JSON    bool      `name:"json" help:"Print JSON instead of a table."`
}

// Run tells trends from the stored hours; the program may be running.
func (c *trendsCmd) Run(e *env) error {
	if c.Weeks < 3 || c.Weeks > 260 {
		return fmt.Errorf("--weeks is %d: expected a whole number from 3 to 260", c.Weeks)
	}
	cfg, err := load(c.Config, false)
	if err != nil {
		return err
	}
	stations, err := choose(cfg, c.Station)
	if err != nil {
		return err
	}
	h, err := history.OpenReader(e.ctx, filepath.Join(cfg.Data, "history.db"))
	if err != nil {
		return err
	}
	defer h.Close()
	to := c.To
	if to.IsZero() {
		to = time.Now()
	}
	zones := zonesOf(cfg)
	var reports []*trend.Report
	bar := progress.New(e.err, "trends", progress.Stations)
	defer bar.End()
	for i := range stations {
		bar.Set(float64(i), float64(len(stations)))
		p := &stations[i].Plate
		r, err := trend.Tell(e.ctx, h, trend.Query{Plate: p, Zone: zones[p.Key.Site],
			From: station.InstantOf(to.Add(-time.Duration(c.Weeks) * 7 * 24 * time.Hour)), To: station.InstantOf(to)})
		if err != nil {
			return err
		}
		reports = append(reports, r)
	}
	bar.End()
	if c.JSON {
		return printJSON(e, reports)
	}
	return printTrends(e, reports)
}

func zonesOf(c *config.Config) map[string]*time.Location {
	out := make(map[string]*time.Location)
	for _, s := range c.Sites {
		out[s.ID] = s.Zone
	}
	return out
}

// printTrends prints a table for each station.
func printTrends(e *env, reports []*trend.Report) error {
	for _, r := range reports {
		fmt.Fprintf(e.out, "%s, days from %s to %s\n", r.Key, trend.Date(r.From), trend.Date(r.To))
		if r.Work != "" {
			fmt.Fprintf(e.out, "the days begin anew behind maintenance: %s\n", r.Work)
		}
		t := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(t, "figure\tunit\tdays\ttypical day now\ta week\t90 %\twhat it tells")
		for i := range r.Series {
			s := &r.Series[i]
			now, week, band := "unknown", "unknown", ""
			if s.Why == "" {
				now = s.In(s.Value)
				week, band = s.SlopeInWords()
			}
			says := s.Verdict()
			if p := s.PassingInWords(); p != "" && s.Why == "" {
				says += "; " + p
			}
			fmt.Fprintf(t, "%s\t%s\t%d\t%s\t%s\t%s\t%s\n", s.Title, s.Kind.Shown, len(s.Days), now, week, band, says)
		}
		if err := t.Flush(); err != nil {
			return err
		}
		if len(r.Series) == 0 {
			fmt.Fprintln(e.out, "no whole hour is stored of these weeks")
		}
	}
	_, err := fmt.Fprintf(e.out, "A trend or change is told where noise alone would show it in less than %g %% of figures.\n", 100*trend.Level)
	return err
}

func printJSON(e *env, reports []*trend.Report) error {
	out := make([]trend.JSON, len(reports))
	for i, r := range reports {
		out[i] = r.JSON()
	}
	enc := json.NewEncoder(e.out)
	enc.SetIndent("", " ")
	return enc.Encode(struct {
		Schema   int          `json:"schema"`
		Stations []trend.JSON `json:"stations"`
	}{1, out})
}
