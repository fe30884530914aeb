package prometheus

import (
	prom "github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
)

// Runtime gives the collectors of the process itself: memory, goroutines, file handles,
// under their usual names (go_..., process_...).
func Runtime() []prom.Collector {
	return []prom.Collector{collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{})}
}
