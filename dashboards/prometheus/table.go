package prometheus

import "strokewise/analyzer/station"

// Metric is a row of the table of metrics.
type Metric struct{ Name, Help, Unit string }

// Help returns what is said of a metric in the exposition, "" where there is none of that name.
func Help(name string) string {
	for _, f := range families {
		if f.name == name {
			return f.help
		}
	}
	return timingHelp[name]
}

// SlowFigures returns the metrics of the slow figures, in the order of their table; Unit is that of station.Figures.
func SlowFigures() []Metric {
	var out []Metric
	for i := range slow {
		out = append(out, Metric{slow[i].family.name, slow[i].family.help, station.Figures[slow[i].figure].Unit})
	}
	return out
}
