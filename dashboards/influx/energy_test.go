package influx

import (
	"strings"
	"testing"

	"github.com/influxdata/influxdb-client-go/v2/api/write"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// Stored energy leaves in the unit of its tag. 100 L at 10 bar gauge and 1.01325 bar ambient:
// 136.1 kJ (published to 0.1 %).
func TestStoredEnergyIsExportedInJoules(t *testing.T) {
	f := hourFigure(station.StoredEnergy, air.StoredEnergy(station.Gauge(1000e3).Absolute(101325), 101325, 0.1))
	line := write.PointToLineProtocol(figurePoint(press, "", station.ANR, &f), 1)
	if !strings.Contains(line, "unit=J ") || !strings.Contains(line, "value=136") || strings.Contains(line, "value=136.") {
		t.Errorf("the point is %q, want about 136100 in J", line)
	}
}
