package influx

import (
	"regexp"
	"testing"
	"time"

	"github.com/influxdata/influxdb-client-go/v2/api/write"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
	"strokewise/deploy/hostile"
	"strokewise/rules"
)

// A line of the protocol: a measurement, tags, fields, a time. What would separate them stands behind a backslash in
// names and tags, and between quotation marks in texts.
var wholeLine = regexp.MustCompile(`^boost_(alarm|minute)(,[a-z_]+=(\\.|[^\\ ,=\n])+)* ([a-z_]+=("(\\.|[^"\\])*"|[^ ,"]+))(,[a-z_]+=("(\\.|[^"\\])*"|[^ ,"]+))* \d+\n$`)

// A hostile name or message is one tag or field of one point.
func TestHostileTextsInLines(t *testing.T) {
	for name, text := range hostile.Texts {
		x := alarm(7, rules.Unacknowledged)
		x.Key, x.Branch, x.Alarm, x.Message = station.Key{Site: text, Station: text}, text, text, text
		m := minute(0)
		for _, p := range []*write.Point{alarmPoint(&x), minutePoint(x.Key, text, 0, &m, &cost.Charge{})} {
			if line := write.PointToLineProtocol(p, time.Nanosecond); !wholeLine.MatchString(line) {
				t.Errorf("%s: %q", name, line)
			}
		}
	}
	if wholeLine.MatchString("boost_alarm,site=a b active=true 1\n") || wholeLine.MatchString("boost_alarm active=true 1\nboost_alarm active=true 2\n") {
		t.Error("the pattern holds nothing back")
	}
}
