// Package prometheus shows the board and the pipeline to Prometheus. Names have the
// prefix strokewise_ and end in base units; series that are unknown are left out.
package prometheus

import (
	"math"
	"strings"

	prom "github.com/prometheus/client_golang/prometheus"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
)

// Options say what is shown.
type Options struct {
	Board    *board.Board
	Pipeline func() board.Pipeline // nil: no figures of the pipeline
	// References give the condition at which a site's air is stated; ANR where a site is
	// not in it.
	References map[string]station.Reference
	Tariffs    map[string]*cost.Tariffs // by site
	Version    string
}

// New gives a collector of const metrics: each scrape reads the board as it is then.
// Totals can go back until the board is ready, so serve it through Handler, which waits.
func New(o Options) prom.Collector { return &collector{o} }

type collector struct{ Options }

// Describe implements prom.Collector.
func (c *collector) Describe(ch chan<- *prom.Desc) {
	for _, f := range families {
		ch <- f.desc
	}
}

// Collect implements prom.Collector.
func (c *collector) Collect(ch chan<- prom.Metric) {
	out := sink{ch}
	out.build(c.Version)
	if c.Pipeline != nil {
		p := c.Pipeline()
		out.pipeline(&p)
	}
	for _, h := range c.Board.Headers() {
		out.alarms(h.Alarms, label(h.Key.Site), "", label(h.Key.Station))
	}
	all := c.Board.All()
	for i := range all {
		if p := &all[i].Plate; all[i].Gone {
			out.alarms(all[i].Alarms, label(p.Key.Site), label(p.Branch), label(p.Key.Station))
			continue
		}
		site := all[i].Plate.Key.Site
		out.station(&all[i], c.References[site], c.Tariffs[site])
	}
}

// family is one metric name with its help, kind and labels.
type family struct {
	name, help string
	desc       *prom.Desc
	kind       prom.ValueType
}

// families collects every family that the package declares, for Describe.
var families []*family

func declare(kind prom.ValueType, name, help string, labels ...string) *family {
	name = "strokewise_" + name
	f := &family{name, help, prom.NewDesc(name, help, labels, nil), kind}
	families = append(families, f)
	return f
}

func gauge(name, help string, labels ...string) *family {
	return declare(prom.GaugeValue, name, help, labels...)
}

func counter(name, help string, labels ...string) *family {
	return declare(prom.CounterValue, name, help, labels...)
}

// sink takes the metrics of one scrape.
type sink struct{ ch chan<- prom.Metric }

// put sends a value unless it is no finite number. A series that cannot be made is
// reported by the gatherer and costs no other series.
func (s sink) put(f *family, v float64, labels ...string) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return
	}
	m, err := prom.NewConstMetric(f.desc, f.kind, v, labels...)
	if err != nil {
		m = prom.NewInvalidMetric(f.desc, err)
	}
	s.ch <- m
}

// number gives 1 for true, 0 for false.
func number(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// label makes a text of the outside fit for a label: valid UTF-8.
func label(s string) string { return strings.ToValidUTF8(s, "\ufffd") }
