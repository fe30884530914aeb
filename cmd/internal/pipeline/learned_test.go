package pipeline

import (
	"math"
	"reflect"
	"slices"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/learned"
	"strokewise/collector/rig"
)

// run is an hour and a half of a virtual station as it stands in a log, and what was learned within it.
type run struct {
	spec   rig.Spec
	start  station.Instant
	blocks [][]station.Block // by the second
}

func newRun(t *testing.T, seconds int) *run {
	t.Helper()
	specs, err := rig.Plant(0)
	if err != nil {
		t.Fatal(err)
	}
	spec, err := rig.Find(specs, "press-4")
	if err != nil {
		t.Fatal(err)
	}
	spec.Plate.Serial = "B-1017"
	r := &run{spec: spec, start: station.Instant(1767603600 * station.Second)}
	v := rig.New(spec, r.start, 100)
	for s := range seconds {
		r.blocks = append(r.blocks, cloned(v.Until(r.start.Add(int64(s+1)*station.Second))))
	}
	return r
}

// cloned returns blocks of their own: a virtual station uses its own again.
func cloned(blocks []station.Block) []station.Block {
	out := slices.Clone(blocks)
	for i := range out {
		out[i].Times, out[i].Values = slices.Clone(out[i].Times), slices.Clone(out[i].Values)
	}
	return out
}

// play lets a unit work off seconds, n at a time.
func (r *run) play(u *Unit, from, to, n int) {
	for s := from; s < to; s += n {
		end := min(s+n, to)
		for i := s; i < end; i++ {
			u.Push(r.blocks[i], r.start.Add(int64(end)*station.Second))
		}
		for u.Advance(1 << 30) {
		}
	}
}

// stored returns what a unit has learned as it comes back from the history.
func stored(t *testing.T, u *Unit) *station.Learned {
	t.Helper()
	var l station.Learned
	u.Learned(&l)
	var r learned.Record
	r.Set(&l)
	data, err := r.Encode()
	if err != nil {
		t.Fatal(err)
	}
	back, err := learned.Decode(data)
	if err != nil {
		t.Fatal(err)
	}
	return back.Learned()
}

// near fails where a figure is off what an undisturbed run knows by more than a share.
func near(t *testing.T, what string, u, twin *Unit, f station.Figure, share float64) {
	t.Helper()
	g, want := u.Status.Estimates[f], twin.Status.Estimates[f]
	if !want.Known() {
		t.Fatalf("the undisturbed run does not know %s: %s", station.Figures[f].Name, want.Reason)
	}
	if !g.Known() || math.Abs(g.Value-want.Value) > share*math.Abs(want.Value) {
		t.Errorf("%s: %s is %g (%s), the undisturbed run has %g", what, station.Figures[f].Name, g.Value, g.Reason, want.Value)
	}
}

// A program whose engine cannot read the snapshots of the former one begins with what was learned. Where the log goes back
// behind it, the engine works that off, is given what was learned at its place, and goes on; where the log
// is lost, it begins with it.
func TestLearnedOutlivesAnotherEngine(t *testing.T) {
	const log, at, end = 1800, 3600, 5400
	r := newRun(t, end)
	twin := New(r.spec.Plate, "1")
	r.play(twin, 0, at, 1)
	l := stored(t, twin)
	twin.Discard()
	r.play(twin, at, end, 1)

	rebuilt := New(r.spec.Plate, "1")
	r.play(rebuilt, log, at, 1)
	rebuilt.RecallLearned(l)
	rebuilt.Discard()
	r.play(rebuilt, at, end, 1)

	lost := New(r.spec.Plate, "1")
	lost.RecallLearned(l)
	r.play(lost, at, at+5, 1)
	kept := 0
	for i := range l.Figures {
		f, ok := station.FigureOf(l.Figures[i].Name)
		g := lost.Status.Estimates[f]
		if !ok || !g.Known() || g.At < l.Figures[i].At || g.At == l.Figures[i].At && g.Value != l.Figures[i].Value {
			t.Errorf("%s was %+v, and is %+v after the start", l.Figures[i].Name, l.Figures[i], g)
		}
		if g.At == l.Figures[i].At {
			kept++
		}
	}
	if kept < 5 {
		t.Errorf("only %d figures stand with their age after the start", kept)
	}
	r.play(lost, at+5, end, 1)

	var never station.Learned // what the log alone would tell
	short := New(r.spec.Plate, "1")
	r.play(short, log, end, 1)
	short.Learned(&never)

	var of [3]station.Learned
	for i, u := range []*Unit{twin, rebuilt, lost} {
		u.Learned(&of[i])
	}
	if of[1].Booster.Strokes != of[0].Booster.Strokes || of[1].Booster.WatchedFrom != of[0].Booster.WatchedFrom {
		t.Errorf("rebuilt: %d strokes since %s, the undisturbed run has %d since %s", of[1].Booster.Strokes, of[1].Booster.WatchedFrom, of[0].Booster.Strokes, of[0].Booster.WatchedFrom)
	}
	if n := of[0].Booster.Strokes - of[2].Booster.Strokes; n < 0 || n > 4 { // a counter's first reading counts nothing: a cycle, and one that was open
		t.Errorf("with a lost log %d strokes of %d are missing", n, of[0].Booster.Strokes)
	}
	if n := of[0].Booster.Strokes - never.Booster.Strokes; n < 100 {
		t.Errorf("the log alone tells all but %d strokes: the test shows nothing", n)
	}
	for what, u := range map[string]*Unit{"rebuilt": rebuilt, "lost": lost} {
		near(t, what, u, twin, station.SupplyConductance, 0.02)
		near(t, what, u, twin, station.SupplySag, 0.02)
		near(t, what, u, twin, station.CyclesSinceOverhaul, 0.01)
	}
	var was, is int64
	for i := range twin.Out.Minutes[1:] {
		was += twin.Out.Minutes[1+i].Strokes
	}
	for i := range rebuilt.Out.Minutes[1:] {
		is += rebuilt.Out.Minutes[1+i].Strokes
	}
	if was != is || was == 0 {
		t.Errorf("the minutes after it have %d strokes, those of the undisturbed run %d", is, was)
	}
}

// What was learned is an input at its place in the log: given there, two runs agree bit by bit, however the
// samples are cut into blocks.
func TestLearnedIsAnInputLikeAnyOther(t *testing.T) {
	const at, end = 900, 1800
	r := newRun(t, end)
	first := New(r.spec.Plate, "1")
	r.play(first, 0, at, 1)
	l := stored(t, first)
	l.Booster.Strokes += 1e6
	var of [2]station.Learned
	var out [2]Output
	for i, n := range []int{1, 7} {
		u := New(r.spec.Plate, "1")
		r.play(u, at/2, at, n)
		u.RecallLearned(l)
		r.play(u, at, end, n)
		u.Flush()
		u.Learned(&of[i])
		out[i] = u.Take()
		for k := range out[i].Minutes {
			if m := &out[i].Minutes[k]; m.OutletMax != m.OutletMax || m.InletMean != m.InletMean {
				t.Fatal("a minute without pressures: the comparison below would fail on it")
			}
		}
	}
	if !reflect.DeepEqual(of[0], of[1]) {
		t.Errorf("learned\n%+v\nand\n%+v", of[0], of[1])
	}
	if !reflect.DeepEqual(out[0], out[1]) {
		t.Error("minutes, intervals or transitions differ")
	}
	if of[0].Booster.Strokes < 1e6 {
		t.Errorf("%d strokes: it was not recalled", of[0].Booster.Strokes)
	}
}
