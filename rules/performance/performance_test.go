package performance

import (
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

var (
	noon = station.InstantOf(time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC))
	ten  = station.Key{Site: "a", Station: "ten"}
	two  = station.Key{Site: "a", Station: "two"}
)

const (
	second = station.Second
	minute = station.Minute60
	hour   = 60 * minute
)

func step(k station.Key, alarm string, p rules.Priority, from, to rules.AlarmState, raised, at int64) rules.Transition {
	return rules.Transition{Key: k, Alarm: alarm, Priority: p, From: from, To: to, Raised: noon.Add(raised), At: noon.Add(at)}
}

func raise(k station.Key, alarm string, p rules.Priority, at int64) rules.Transition {
	return step(k, alarm, p, rules.Normal, rules.Unacknowledged, at, at)
}

func by(t rules.Transition, why string) rules.Transition {
	t.By, t.Why = "Ana", why
	return t
}

// The limits as summaries of IEC 62682 and EEMUA 191 quote them: a flood is more than ten
// alarms in ten minutes, chattering three or more in a minute, stale more than a day.
func TestFloods(t *testing.T) {
	for n, floods := range map[int]int{10: 0, 11: 1} {
		var list []rules.Transition
		for i := range n {
			list = append(list, raise(ten, rules.OutletLeak, rules.Medium, 20*minute+int64(i)*50*second))
		}
		r := Measure(list, nil, noon, noon.Add(hour))
		if r.Floods != floods || r.Most != n || r.MostAt != noon.Add(20*minute) || r.Windows != 6 || r.Alarms != n || len(r.Chattering) != 0 {
			t.Errorf("%d alarms in a window: %+v", n, r)
		}
	}
}

func TestChattering(t *testing.T) {
	for gap, n := range map[int64]int{30 * second: 1, 31 * second: 0} {
		list := []rules.Transition{raise(ten, "starved", rules.Low, 0), raise(two, "starved", rules.Low, 1),
			raise(ten, "starved", rules.Low, gap), raise(ten, "starved", rules.Low, 2*gap)}
		r := Measure(list, nil, noon, noon.Add(hour))
		if len(r.Chattering) != n || n == 1 && (r.Chattering[0].Key != ten || r.Chattering[0].N != 3) {
			t.Errorf("a raise each %d s: %+v", gap/second, r.Chattering)
		}
	}
}

// 144 ten-minute stretches a day: 288 alarms are two in each. Findings count apart.
func TestRatesAndShares(t *testing.T) {
	var list []rules.Transition
	for i := range int64(288) {
		p := rules.Low
		if i%8 == 0 {
			p = rules.High
		}
		list = append(list, raise(ten, "starved", p, i*5*minute), raise(two, "pulsation", rules.Finding, i*5*minute+1))
	}
	r := Measure(list, nil, noon, noon.Add(24*hour))
	if r.PerWindow() != 2 || r.PerDay() != 288 || r.Findings != 288 || r.ByPriority != [4]int{rules.Low: 252, rules.High: 36} {
		t.Errorf("%g in ten minutes, %g a day, %d findings, priorities %v", r.PerWindow(), r.PerDay(), r.Findings, r.ByPriority)
	}
	if len(r.Top) != 1 || r.Top[0] != (Count{Key: ten, Alarm: "starved", N: 288}) {
		t.Errorf("raised most: %+v", r.Top)
	}
}

func TestStale(t *testing.T) {
	day := 24 * hour
	list := []rules.Transition{
		step(ten, "starved", rules.Low, rules.Acknowledged, rules.Normal, -day, second),           // a day and a second
		step(two, "starved", rules.Low, rules.Acknowledged, rules.Normal, -day, 0),                // a day
		step(two, "pulsation", rules.Finding, rules.Acknowledged, rules.Normal, -2*day, 5*second), // wakes nobody
	}
	open := []rules.Transition{
		step(ten, rules.OutletLeak, rules.Medium, rules.Unacknowledged, rules.Acknowledged, -2*day, -day),
		step(two, rules.OutletLeak, rules.Medium, rules.Unacknowledged, rules.Shelved, -2*day, -day),
	}
	r := Measure(list, open, noon, noon.Add(hour))
	if len(r.Stale) != 2 || r.Stale[0] != (Count{Key: ten, Alarm: rules.OutletLeak, Since: noon.Add(-2 * day)}) || r.Stale[1].Alarm != "starved" || r.Stale[1].Key != ten {
		t.Errorf("%+v", r.Stale)
	}
}

func TestAcknowledged(t *testing.T) {
	list := []rules.Transition{
		by(step(two, "starved", rules.Low, rules.Unacknowledged, rules.Acknowledged, -hour, 0), ""), // raised before
		raise(ten, "starved", rules.Low, minute),
		raise(ten, rules.OutletLeak, rules.Medium, minute),
		raise(two, rules.OutletLeak, rules.Medium, minute),
		step(ten, "starved", rules.Low, rules.Unacknowledged, rules.ReturnedUnacknowledged, minute, 2*minute),
		by(step(ten, "starved", rules.Low, rules.ReturnedUnacknowledged, rules.Normal, minute, 3*minute), ""),
		by(step(ten, rules.OutletLeak, rules.Medium, rules.Unacknowledged, rules.Acknowledged, minute, 5*minute), ""),
		by(step(ten, rules.OutletLeak, rules.Medium, rules.Acknowledged, rules.Shelved, minute, 6*minute), "hose ordered"),
	}
	r := Measure(list, nil, noon, noon.Add(hour))
	if m, ok := r.MedianAckNs(); !ok || m != 4*minute || len(r.AckNs) != 3 || r.AckNs[2] != hour || r.Unanswered != 1 {
		t.Errorf("median %d s of %v, %d unanswered", m/second, r.AckNs, r.Unanswered)
	}
	if _, ok := new(Report).MedianAckNs(); ok {
		t.Error("a median of nothing")
	}
}

func TestPrecision(t *testing.T) {
	close := func(cause station.Cause, why string) rules.Transition {
		c := by(step(ten, rules.OutletLeak, rules.Medium, rules.ReturnedUnacknowledged, rules.Normal, 0, minute), why)
		c.Cause = cause
		return c
	}
	unsigned := close(station.CauseLeak, "fitting tightened")
	unsigned.By = ""
	r := Measure([]rules.Transition{close(station.CauseLeak, "fitting tightened"), close(station.NothingFound, "looked for an hour"), close(station.CauseWear, "nothing found: seals changed"),
		close(station.CauseLeak, "hose"), close(station.NoCause, "nothing found: who knows"), unsigned}, nil, noon, noon.Add(hour))
	if len(r.Judged) != 1 || r.Judged[0] != (Judged{Alarm: rules.OutletLeak, Closed: 4, Empty: 1}) || r.Judged[0].Precision() != 0.75 {
		t.Errorf("%+v", r.Judged)
	}
}

// Nothing outside the stretch counts.
func TestBounds(t *testing.T) {
	r := Measure([]rules.Transition{raise(ten, "starved", rules.Low, -1), raise(ten, "starved", rules.Low, hour)}, nil, noon, noon.Add(hour))
	if r.Alarms != 0 || r.Unanswered != 0 {
		t.Errorf("%+v", r)
	}
}

// What a header's alarm explains asks nothing of people; a hundred of them are no flood.
func TestWhatIsExplainedAsksNothing(t *testing.T) {
	var list []rules.Transition
	for range 100 {
		x := raise(ten, "starved", rules.Medium, minute)
		x.Explained = rules.HeaderLow
		list = append(list, x)
	}
	list = append(list, raise(station.HeaderKey("north", ""), rules.HeaderLow, rules.High, minute))
	if r := Measure(list, list, noon, noon.Add(48*hour)); r.Alarms != 1 || r.Most != 1 || r.Floods != 0 || len(r.Stale) != 1 {
		t.Errorf("%+v", r)
	}
}
