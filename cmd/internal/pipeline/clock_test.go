package pipeline_test

import (
	"reflect"
	"slices"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/playback"
	"strokewise/rules"
)

// seconds cuts a recording into blocks of a second, all channels together.
func seconds(r *playback.Recording) [][]station.Block {
	from, length := r.Span()
	out := make([][]station.Block, length/station.Second+1)
	for i := range r.Blocks {
		b := &r.Blocks[i]
		for lo := 0; lo < b.Len(); {
			s := b.At(lo).Sub(from) / station.Second
			hi := lo
			part := station.Block{Channel: b.Channel, Stamp: b.Stamp}
			for ; hi < b.Len() && b.At(hi).Sub(from)/station.Second == s; hi++ {
				part.Times, part.Values = append(part.Times, b.At(hi)), append(part.Values, b.Values[hi])
			}
			out[s], lo = append(out[s], part), hi
		}
	}
	return out
}

// shifted gives blocks with their device times moved by ns.
func shifted(blocks []station.Block, ns int64) []station.Block {
	out := slices.Clone(blocks)
	for i := range out {
		out[i].Times = slices.Clone(out[i].Times)
		for k := range out[i].Times {
			out[i].Times[k] = out[i].Times[k].Add(ns)
		}
	}
	return out
}

const hour = 3600 * station.Second

// live runs a recording with a tick every five seconds; host and edge say by how much the
// clocks are wrong in each second, ns.
func live(r *playback.Recording, host, edge func(s int) int64) *pipeline.Unit {
	u := pipeline.New(r.Plate, "1")
	u.KeepStrokes = true
	from, _ := r.Span()
	all := seconds(r)
	now := from
	for s, blocks := range all {
		now = from.Add(int64(s+1)*station.Second + host(s))
		u.Samples(shifted(blocks, edge(s)), now)
		if s%5 == 0 {
			u.Tick(now)
		}
	}
	u.Flush()
	return u
}

func none(int) int64 { return 0 }

// longRecordings are those of several minutes.
func longRecordings(t *testing.T) (out []playback.Recording) {
	t.Helper()
	rs, err := playback.Recordings()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rs {
		if _, length := r.Span(); length > 180*station.Second {
			out = append(out, r)
		}
	}
	if len(out) < 3 {
		t.Fatalf("%d long recordings", len(out))
	}
	return out
}

// Our own clock steps by an hour either way, there and back, while the sensors go on:
// minutes, states and strokes are those of an undisturbed run, and no sensor is called
// silent because of a step back.
func TestOurClockMayStep(t *testing.T) {
	for _, r := range longRecordings(t) {
		want := live(&r, none, none)
		for name, host := range map[string]func(int) int64{
			"an hour ahead": func(s int) int64 { return step(s, 60, 120, hour) },
			"an hour back":  func(s int) int64 { return step(s, 60, 120, -hour) },
			"hither and thither": func(s int) int64 {
				return step(s, 40, 70, hour) + step(s, 80, 110, -hour) + step(s, 120, 1e6, hour/2)
			},
		} {
			got := live(&r, host, none)
			if !reflect.DeepEqual(withoutNaN(got.Out.Minutes), withoutNaN(want.Out.Minutes)) {
				t.Errorf("%s, %s: minutes differ", r.Name, name)
			}
			if !reflect.DeepEqual(got.Out.Intervals, want.Out.Intervals) || !reflect.DeepEqual(got.Out.Strokes, want.Out.Strokes) {
				t.Errorf("%s, %s: %d states and %d strokes, undisturbed %d and %d", r.Name, name, len(got.Out.Intervals), len(got.Out.Strokes), len(want.Out.Intervals), len(want.Out.Strokes))
			}
			if a, b := others(got), others(want); !reflect.DeepEqual(a, b) {
				t.Errorf("%s, %s: transitions %v, undisturbed %v", r.Name, name, a, b)
			}
		}
	}
}

// step is d from second a on, before second b.
func step(s, a, b int, d int64) int64 {
	if s >= a && s < b {
		return d
	}
	return 0
}

func withoutNaN(ms []station.Minute) []station.Minute {
	ms = slices.Clone(ms)
	for i := range ms {
		for _, p := range [...]*station.Gauge{&ms[i].InletMean, &ms[i].OutletMean, &ms[i].OutletMax} {
			if *p != *p {
				*p = -1e9
			}
		}
	}
	return ms
}

// others are the transitions that silence has no part in.
func others(u *pipeline.Unit) []rules.Transition {
	return slices.DeleteFunc(slices.Clone(u.Out.Transitions), func(t rules.Transition) bool { return t.Alarm == rules.SignalLost })
}

// After our clock was set back by an hour, a sensor that falls silent is reported as soon
// as at any other time, not an hour later.
func TestSilenceIsNoticedAfterOurClockWasSetBack(t *testing.T) {
	r := longRecordings(t)[0]
	raisedAfter := func(back int64) int64 {
		u := pipeline.New(r.Plate, "1")
		from, _ := r.Span()
		now := from
		for s, blocks := range seconds(&r)[:60] {
			now = from.Add(int64(s+1) * station.Second)
			if s >= 30 {
				now = now.Add(-back)
			}
			u.Samples(blocks, now)
			u.Tick(now)
		}
		silent := now
		for s := range 2 * 3600 {
			now = silent.Add(int64(s) * station.Second)
			u.Tick(now)
			for _, tr := range u.Out.Transitions {
				if tr.Alarm == rules.SignalLost && tr.To == rules.Unacknowledged {
					return now.Sub(silent) / station.Second
				}
			}
		}
		return -1
	}
	want := raisedAfter(0)
	for _, back := range []int64{60 * station.Second, hour} {
		if got := raisedAfter(back); got < want-1 || got > want+1 || want <= 0 {
			t.Errorf("set back by %d s: raised after %d s of silence, undisturbed after %d s", back/station.Second, got, want)
		}
	}
	t.Logf("raised after %d s of silence", want)
}

// awake is the time of a minute in which something was seen, ns.
func awake(m *station.Minute) int64 { return m.Covered - m.StateNs[station.Blind] }

// The edge's clock steps by an hour and back while its sensors go on. The step back is
// noticed after half a minute, whose samples are dropped as late; the step ahead is a gap,
// and blind. No stroke is counted twice.
func TestTheEdgesClockMayStep(t *testing.T) {
	for _, r := range longRecordings(t) {
		want := live(&r, none, none)
		for name, edge := range map[string]func(int) int64{
			"an hour back":  func(s int) int64 { return step(s, 60, 120, -hour) },
			"an hour ahead": func(s int) int64 { return step(s, 60, 120, hour) },
		} {
			got := live(&r, none, edge)
			var a, b, covered, all int64
			for i := range want.Out.Minutes {
				a, all = a+want.Out.Minutes[i].Strokes, all+awake(&want.Out.Minutes[i])
			}
			seen := map[[2]int64]bool{}
			for i := range got.Out.Minutes {
				m := &got.Out.Minutes[i]
				b, covered = b+m.Strokes, covered+awake(m)
				id := [2]int64{int64(m.Segment), int64(m.Start)}
				if seen[id] {
					t.Errorf("%s, %s: minute %s of segment %d is concluded twice", r.Name, name, m.Start, m.Segment)
				}
				seen[id] = true
			}
			t.Logf("%s, %s: %d strokes of %d, %d s of %d, %d clock steps, %d late", r.Name, name, b, a, covered/station.Second, all/station.Second, got.Tally().ClockSteps, got.Tally().Late)
			if b > a+2 || b < a-a/8-2 || covered > all+2*station.Second || covered < all-40*station.Second || got.Tally().ClockSteps != 1 {
				t.Errorf("%s, %s: %d strokes in %d s, undisturbed %d in %d s", r.Name, name, b, covered/station.Second, a, all/station.Second)
			}
		}
	}
}
