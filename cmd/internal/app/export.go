package app

import (
	"context"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/influx"
)

// exporters names the exporters that the history queues for.
func (o *Options) exporters() []string {
	if o.Influx == nil {
		return nil
	}
	return []string{influx.Name}
}

// openExport makes the exporter, if there is to be one.
func (a *App) openExport() (err error) {
	if a.opt.Influx == nil {
		return nil
	}
	o := *a.opt.Influx
	o.Dial = a.dial
	o.References = a.opt.References
	o.Branches = make(map[station.Key]string, len(a.opt.Stations))
	for i := range a.opt.Stations {
		p := &a.opt.Stations[i].Plate
		o.Branches[p.Key] = p.Branch
	}
	a.export, err = influx.New(a.store, o, a.log)
	return err
}

// exportFigures gives the figures of the export, nil where there is none.
func (a *App) exportFigures(ctx context.Context) *board.Export {
	if a.export == nil {
		return nil
	}
	f := a.export.Figures()
	out := &board.Export{Points: f.Points, Failed: f.Failed, Dropped: f.Dropped}
	pending, err := a.store.ExportPending(ctx, influx.Name)
	if err != nil {
		a.warn("cannot count what waits to be exported", err)
	}
	out.Pending = pending.Rows
	if !pending.Oldest.IsZero() {
		out.Age = max(0, time.Since(pending.Oldest).Seconds())
	}
	return out
}
