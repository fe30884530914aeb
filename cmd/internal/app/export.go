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
	o := *a.opt.Influx
	o.Dial = a.receiver
	o.References = a.opt.References
	o.Branches = make(map[station.Key]string, len(a.opt.Stations))
	for i := range a.opt.Stations {
		p := &a.opt.Stations[i].Plate
		o.Branches[p.Key] = p.Branch
	}
	a.export, err = influx.New(a.store, o, a.log)
	return err
}

// exportFigures returns what the exporter counted, nil where there is none.
func (a *App) exportFigures() *board.Export {
	if a.export == nil {
		return nil
	}
	f := a.export.Figures()
	return &board.Export{Points: f.Points, Failed: f.Failed, Dropped: f.Dropped}
}
