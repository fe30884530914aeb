package prometheus

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"testing"

	prom "github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"strokewise/dashboards/board"
)

// fleet gives a ready board of n stations.
func fleet(n int) *board.Board {
	b := board.New()
	for i := range n {
		s := press()
		s.Plate.Key.Station = fmt.Sprintf("press-%d", i)
		if i%20 != 0 {
			s.Alarms = nil // one in twenty has alarms
		}
		b.Put(s)
	}
	b.SetReady(true)
	return b
}

// bare gives a registry of plain gauges with as many series as there are in the other:
// the least that a scrape of so many costs with the same library.
func bare(series int) http.Handler {
	const families = 40
	r := prom.NewRegistry()
	for f := range families {
		v := prom.NewGaugeVec(prom.GaugeOpts{Name: fmt.Sprintf("bare_%d", f), Help: "Baseline."}, []string{"site", "branch", "station"})
		r.MustRegister(v)
		for i := range (series + families - 1 - f) / families {
			v.WithLabelValues("northdock", "forming", fmt.Sprintf("press-%d", i)).Set(float64(i) * 1.25)
		}
	}
	return promhttp.HandlerFor(r, promhttp.HandlerOpts{})
}

// count gives the number of series of a collector.
func count(c prom.Collector) int {
	ch := make(chan prom.Metric, 64)
	go func() { c.Collect(ch); close(ch) }()
	n := 0
	for range ch {
		n++
	}
	return n
}

func BenchmarkScrape(b *testing.B) {
	for _, n := range []int{1000, 10000} {
		o := Options{Board: fleet(n), Pipeline: figures, Version: "1.2.3"}
		series := count(New(o))
		ours, err := Handler(o, nil)
		if err != nil {
			b.Fatal(err)
		}
		for _, c := range []struct {
			name    string
			handler http.Handler
		}{{"board", ours}, {"bare", bare(series)}} {
			b.Run(fmt.Sprintf("%s/stations=%d", c.name, n), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					w := discard{httptest.NewRecorder(), io.Discard}
					c.handler.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
					if w.Code != http.StatusOK {
						b.Fatal(w.Code)
					}
				}
				b.ReportMetric(float64(series), "series")
			})
		}
	}
}

// discard drops the body, as a reader on the network would take it away.
type discard struct {
	*httptest.ResponseRecorder
	body io.Writer
}

func (d discard) Write(p []byte) (int, error) { return d.body.Write(p) }
