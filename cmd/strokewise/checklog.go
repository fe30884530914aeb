package main

import (
	"fmt"
	"io"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/config"
	"strokewise/collector/samplelog"
)

// assumedHertz is the rate of each channel that the log is computed for: no key of the configuration
// states a rate. It is the highest that the analyzer is budgeted for.
const assumedHertz = 100

// logLasts writes how far back the log of a configuration reaches, and a warning where that is less
// than what is to be kept.
func logLasts(w io.Writer, cfg *config.Config) error {
	periodic := 0
	for i := range cfg.Stations {
		if cfg.Stations[i].Plate.Cadence != station.OnChange {
			periodic++
		}
	}
	if periodic == 0 || cfg.Log.MaxBytes <= 0 {
		return nil
	}
	rate := samplelog.Rate(periodic, assumedHertz)
	lasts := samplelog.Lasts(cfg.Log.MaxBytes, rate)
	if lasts < cfg.Log.Keep {
		if _, err := fmt.Fprintf(w, "odd, but taken: log.max_bytes: %s reaches back %s, and log.keep asks for %s: what is older is analysed and dropped for room. Set max_bytes: %s, or keep: %s. It is enough for channels of up to %.0f Hz\n",
			samplelog.Bytes(cfg.Log.MaxBytes), hours(lasts), hours(cfg.Log.Keep), samplelog.Bytes(samplelog.Needs(cfg.Log.Keep, rate)), hours(lasts),
			samplelog.Hertz(periodic, samplelog.TrimTo*float64(cfg.Log.MaxBytes)/cfg.Log.Keep.Seconds())); err != nil {
			return err
		}
	}
	text := fmt.Sprintf("log: two pressures and a counter of %d Hz a station (assumed: no rate is declared) add %.3g MB an hour from %d stations; %s reaches back %s",
		assumedHertz, rate*3600/1e6, periodic, samplelog.Bytes(cfg.Log.MaxBytes), hours(lasts))
	if n := len(cfg.Stations) - periodic; n > 0 {
		text += fmt.Sprintf("; %d stations that publish on change are not counted", n)
	}
	_, err := fmt.Fprintln(w, text)
	return err
}

// hours words a length of time as the configuration states it, rounded down.
func hours(d time.Duration) string {
	if d < time.Hour {
		return fmt.Sprintf("%d min", int(d.Minutes()))
	}
	return fmt.Sprintf("%d h", int(d.Hours()))
}
