package app

import (
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
	a.export, err = influx.New(a.store, a.exportOptions(), a.log)
	return err
}

// exportOptions returns the exporter's options, with what the runtime knows. It goes where receivers may be.
func (a *App) exportOptions() influx.Options {
	o := *a.opt.Influx
	o.Dial = a.receiver
	o.References = a.opt.References
	o.Branches = make(map[station.Key]string, len(a.opt.Stations))
	for i := range a.opt.Stations {
		p := &a.opt.Stations[i].Plate
		o.Branches[p.Key] = p.Branch
	}
	return o
}

// exportFigures returns what the exporter counted, nil where there is none.
func (a *App) exportFigures() *board.Export {
	if a.export == nil {
		return nil
	}
	f := a.export.Figures()
	return &board.Export{Points: f.Points, Failed: f.Failed, Dropped: f.Dropped}
}
