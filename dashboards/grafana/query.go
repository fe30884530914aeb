package grafana

import (
	"strings"

	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"

	metrics "strokewise/dashboards/prometheus"
)

// target is what a builder of queries makes.
type target = variants.Dataquery

// about returns what the panel's metrics are, in the words of the exposition.
func (p *Panel) about() string {
	var parts []string
	for _, name := range p.Of {
		parts = append(parts, metrics.Help(name))
	}
	return strings.Join(parts, " ")
}
