package clock_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/clock"
)

// bench is a clock on a machine whose wall clock can be set, with devices.
type bench struct {
	t      *testing.T
	now    time.Time // true time, with a monotonic reading
	wrong  time.Duration
	device time.Duration // by how much all devices are wrong
	list   []station.Key
	*clock.Clock
}

func newBench(t *testing.T, stations int, newest func(now time.Time) time.Time, wrong time.Duration) *bench {
	b := &bench{t: t, now: time.Now(), wrong: wrong}
	for i := range stations {
		b.list = append(b.list, station.Key{Site: "northdock", Station: fmt.Sprint(i)})
	}
	o := clock.Options{Wall: func(t time.Time) time.Time { return t.Add(b.wrong) }, Stations: func() int { return stations }}
	if newest != nil {
		o.Newest = station.InstantOf(newest(b.now))
	}
	b.Clock = clock.New(b.now, o)
	return b
}

// run lets seconds pass in which each device sends its time, and returns the last report.
func (b *bench) run(seconds int) clock.Report {
	var r clock.Report
	var moved int64
	for range seconds {
		b.now = b.now.Add(time.Second)
		for _, k := range b.list {
			at, _, _ := b.At(b.now)
			b.Heard(b.now, k, station.InstantOf(b.now.Add(b.device)), at)
		}
		r = b.Judge(b.now)
		moved += r.Moved
	}
	r.Moved = moved
	return r
}

// is checks the state, and by how much the program's time is wrong.
func (b *bench) is(what string, want clock.State, wrong time.Duration) {
	b.t.Helper()
	at, _, state := b.At(b.now)
	off := time.Duration(at.Sub(station.InstantOf(b.now)))
	if state != want || off != wrong {
		b.t.Errorf("%s: %s, wrong by %s; want %s, %s", what, state, off, want, wrong)
	}
}

// A step of the wall clock against the monotonic one changes the program's time by nothing, and
// is over once the wall clock is set right. The times are the issue's own events.
func TestAStepOfTheWallClockCostsNothing(t *testing.T) {
	for _, stations := range []int{0, 1, 5} {
		for _, c := range []struct {
			by   time.Duration
			for_ int
		}{{-time.Hour, 40}, {365 * 24 * time.Hour, 20}} {
			b := newBench(t, stations, nil, 0)
			b.run(30)
			b.is("before", clock.Trusted, 0)
			b.wrong = c.by
			b.is("at once", clock.Kept, 0)
			r := b.run(c.for_)
			b.is("meanwhile", clock.Kept, 0)
			if !strings.Contains(r.Reason, "our clock stepped") {
				t.Errorf("said: %q", r.Reason)
			}
			b.wrong = 0
			if r = b.run(1); r.Reason != "" || r.Moved != 0 {
				t.Errorf("afterwards: %+v", r)
			}
			b.is("afterwards", clock.Trusted, 0)
			if b.Doubts() != 1 {
				t.Errorf("%d doubts", b.Doubts())
			}
		}
	}
}

// Slewing and steps of a second, as time servers make them, are followed at once.
func TestSmallStepsAreFollowed(t *testing.T) {
	b := newBench(t, 3, nil, 0)
	for range 100 {
		b.wrong += time.Second
		b.run(1)
		b.is("slewed", clock.Trusted, b.wrong)
	}
}

// After a machine that stood still goes on, devices confirm the wall clock within the time for
// which a device must be steady (10 s). Without devices it is believed after ten minutes.
func TestASteppedClockThatIsRightIsBelieved(t *testing.T) {
	b := newBench(t, 3, nil, -time.Hour) // wrong by an hour, and set right afterwards
	b.run(30)
	b.is("an hour slow, which devices alone know", clock.Unsure, -time.Hour)
	b.wrong = 0
	r := b.run(1)
	b.is("set right", clock.Trusted, 0)
	if time.Duration(r.Moved) != time.Hour {
		t.Errorf("moved by %s", time.Duration(r.Moved))
	}
	b = newBench(t, 0, nil, -time.Hour)
	b.run(10)
	b.wrong = 0
	b.run(600)
	b.is("not yet", clock.Kept, -time.Hour)
	b.run(2)
	b.is("believed", clock.Trusted, 0)
}

// A clock that is set back and stays so is not believed while devices speak for the kept time.
func TestDevicesHoldTheKeptTime(t *testing.T) {
	b := newBench(t, 4, nil, 0)
	b.run(30)
	b.wrong = -time.Hour
	b.run(3600)
	b.is("an hour later", clock.Kept, 0)
}

// At a start the newest entry of the log has passed: an earlier wall clock is wrong.
func TestAStartBeforeTheLogsEnd(t *testing.T) {
	ago := func(now time.Time) time.Time { return now.Add(-2 * time.Minute) }
	b := newBench(t, 0, ago, -time.Hour)
	b.is("at the start", clock.Unsure, -2*time.Minute) // never before the log's end
	if r := b.run(30); !strings.Contains(r.Reason, "before the newest entry of the log") {
		t.Errorf("said: %q", r.Reason)
	}
	b.wrong = 0
	r := b.run(1)
	b.is("set right", clock.Trusted, 0)
	if time.Duration(r.Moved) != 2*time.Minute {
		t.Errorf("moved by %s", time.Duration(r.Moved))
	}
	// a log that was written by a clock of the future: devices confirm the wall clock
	b = newBench(t, 3, func(now time.Time) time.Time { return now.Add(8000 * time.Hour) }, 0)
	if b.run(5); b.State() != clock.Unsure {
		t.Error("trusted before a device was steady")
	}
	b.run(10)
	b.is("confirmed", clock.Trusted, 0)
	// without devices a person decides
	b = newBench(t, 0, func(now time.Time) time.Time { return now.Add(8000 * time.Hour) }, 0)
	if b.run(3600); b.State() != clock.Unsure {
		t.Error("trusted without a witness")
	}
	b.Trust(b.now)
	b.is("by a person's word", clock.Trusted, 0)
}

// After a long pause of the log, devices have a minute to disagree.
func TestAStartAYearAhead(t *testing.T) {
	const year = 365 * 24 * time.Hour
	ago := func(now time.Time) time.Time { return now.Add(-time.Minute) }
	b := newBench(t, 3, ago, year)
	r := b.run(90)
	b.is("devices disagree", clock.Unsure, year)
	if !strings.Contains(r.Reason, "3 of 3 stations") {
		t.Errorf("said: %q", r.Reason)
	}
	b.wrong = 0
	if r = b.run(1); time.Duration(r.Moved) != -year {
		t.Errorf("moved by %s", time.Duration(r.Moved))
	}
	b.is("set right", clock.Trusted, 0)
	b = newBench(t, 0, func(now time.Time) time.Time { return now.Add(-30 * 24 * time.Hour) }, 0)
	if b.run(59); b.State() != clock.Unsure {
		t.Error("trusted at once")
	}
	b.run(2)
	b.is("nobody disagrees", clock.Trusted, 0)
}

// Most devices together are an hour ahead: messages are held until they are set right, or a
// person says that ours is.
func TestDevicesThatAreWrongTogether(t *testing.T) {
	b := newBench(t, 5, nil, 0)
	b.run(30)
	b.device = time.Hour
	b.run(9)
	b.is("not steady yet", clock.Trusted, 0)
	b.run(3)
	b.is("together", clock.Unsure, 0)
	b.device = 0
	b.run(12)
	b.is("set right", clock.Trusted, 0)
	b.device = time.Hour
	b.run(12)
	b.Trust(b.now)
	b.run(60)
	b.is("a person's word", clock.Trusted, 0)
	b.device = 0
	b.run(12)
	b.device = time.Hour
	b.run(12)
	b.is("another time", clock.Unsure, 0)
}

// Two of five are no majority, and devices that are wrong each by itself are no witnesses.
func TestSomeWrongDevicesProveNothing(t *testing.T) {
	b := newBench(t, 5, nil, 0)
	for s := range 120 {
		b.now = b.now.Add(time.Second)
		for i, k := range b.list {
			at, _, _ := b.At(b.now)
			wrong := time.Duration(0)
			if i < 2 || s >= 60 {
				wrong = time.Duration(i+1) * time.Hour
			}
			b.Heard(b.now, k, station.InstantOf(b.now.Add(wrong)), at)
		}
		if r := b.Judge(b.now); r.State != clock.Trusted {
			t.Fatalf("after %d s: %+v", s, r)
		}
	}
}

// A queue that is worked off sends old times in a hurry: no witness. An even delay is said and
// changes nothing, since times up to 48 h old are accepted.
func TestOldMessagesAreNoWitnesses(t *testing.T) {
	b := newBench(t, 3, nil, 0)
	b.device = -72 * time.Hour
	for range 600 {
		b.device += 2 * time.Second
		if r := b.run(1); r.State != clock.Trusted {
			t.Fatalf("%+v", r)
		}
	}
	b = newBench(t, 3, nil, 0)
	b.device = -time.Hour
	if r := b.run(60); r.State != clock.Trusted || !strings.Contains(r.Reason, "behind our clock") {
		t.Errorf("%+v", r)
	}
}

// BenchmarkMessage is what a message costs.
func BenchmarkMessage(b *testing.B) {
	now := time.Now()
	c := clock.New(now, clock.Options{})
	k := station.Key{Site: "northdock", Station: "press-4"}
	b.ReportAllocs()
	for b.Loop() {
		at, _, _ := c.At(now)
		c.Heard(now, k, at, at)
	}
}
