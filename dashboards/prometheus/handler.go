package prometheus

import (
	"fmt"
	"log/slog"
	"net/http"

	prom "github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// inFlight bounds the scrapes that run at once; further ones get 503.
const inFlight = 4

// Handler serves the collector of o, and others beside it, at its own registry. It
// answers 503 until the board is ready: a counter that goes back would be taken for a
// reset and counted twice. Series that cannot be gathered go to log (nil: nowhere); the
// rest is served: as protobuf, OpenMetrics or Prometheus's own text, whichever the scrape asks for first.
func Handler(o Options, log *slog.Logger, others ...prom.Collector) (http.Handler, error) {
	registry := prom.NewRegistry()
	for _, c := range append([]prom.Collector{New(o)}, others...) {
		if err := registry.Register(c); err != nil {
			return nil, fmt.Errorf("cannot register a metrics collector: %w", err)
		}
	}
	opts := promhttp.HandlerOpts{ErrorHandling: promhttp.ContinueOnError, MaxRequestsInFlight: inFlight, EnableOpenMetrics: true}
	if log != nil {
		opts.ErrorLog = slog.NewLogLogger(log.Handler(), slog.LevelWarn)
	}
	metrics := promhttp.HandlerFor(registry, opts)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !o.Board.Ready() {
			w.Header().Set("Retry-After", "1")
			http.Error(w, "not ready: the history is being restored; totals would go back. Try again in a moment.", http.StatusServiceUnavailable)
			return
		}
		metrics.ServeHTTP(w, r)
	}), nil
}
