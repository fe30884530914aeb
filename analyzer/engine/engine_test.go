package engine

import (
	"bytes"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"strokewise/analyzer/station"
)

// recorder keeps all that an engine reports.
type recorder struct {
	Strokes   []station.Stroke
	Intervals []station.Interval
	Minutes   []station.Minute
	Gaps      []station.Gap
	Steps     []station.Status
}

func (r *recorder) Stroke(s station.Stroke)     { r.Strokes = append(r.Strokes, s) }
func (r *recorder) Interval(i station.Interval) { r.Intervals = append(r.Intervals, i) }
func (r *recorder) Gap(g station.Gap)           { r.Gaps = append(r.Gaps, g) }
func (r *recorder) Minute(m *station.Minute)    { r.Minutes = append(r.Minutes, *m) }
func (r *recorder) Hour(*station.Status)        {}

// Step keeps a step, with -1 Pa in the place of readings that are NaN, which equals nothing.
func (r *recorder) Step(s *station.Status) {
	c := *s
	for _, p := range []*station.Gauge{&c.OutletLastSeen, &c.InletReads, &c.OutletReads, &c.InletPeak, &c.OutletPeak} {
		if math.IsNaN(float64(*p)) {
			*p = -1
		}
	}
	r.Steps = append(r.Steps, c)
}

func testPlate() station.Plate {
	p := station.Plate{Key: station.Key{Site: "s", Station: "p"}, Set: 900e3, TankVolume: 20e-3}
	p.Bores(63e-3, 63e-3, 16e-3, 60e-3, false, true)
	return p
}

// sample is one row of invented input.
type sample struct {
	c station.Channel
	t station.Instant
	v float64
}

var t0 = station.Instant(1767225600 * station.Second)

// invented gives rows of a station that strokes for on seconds out of every period, at
// 50 Hz, with a dip at the inlet and a step at the outlet a stroke. It is a drawing to
// exercise the code, no check of its physics.
func invented(seconds int, counter bool) []sample {
	rng := rand.New(rand.NewPCG(1, 2))
	var out []sample
	p2, strokes := 880e3, 0
	phase := 0.0
	for i := range seconds * 50 {
		t := t0.Add(int64(i) * 20 * station.Millisecond)
		p1 := 600e3
		if sec := i / 50 % 30; sec < 10 {
			phase += 0.02 / 0.5
			if phase >= 1 {
				phase--
				strokes++
				p2 += 4e3
			}
			p1 -= 12e3 * math.Pow(math.Sin(math.Pi*phase), 2)
			p2 -= 160
		} else {
			p2 -= 4
		}
		p2 = math.Min(p2, 900e3)
		out = append(out, sample{station.InletPressure, t, p1 + 300*rng.NormFloat64()},
			sample{station.OutletPressure, t, p2 + 300*rng.NormFloat64()})
		if counter {
			out = append(out, sample{station.Cycles, t, float64(strokes / 2)})
		}
	}
	return out
}

// run feeds rows in blocks cut at random sizes from seed.
func run(e *Engine, rows []sample, seed uint64) {
	rng := rand.New(rand.NewPCG(seed, 7))
	for len(rows) > 0 {
		n := min(len(rows), 1+rng.IntN(200))
		blocks := map[station.Channel]*station.Block{}
		for _, r := range rows[:n] {
			b := blocks[r.c]
			if b == nil {
				b = &station.Block{Channel: r.c, Start: r.t}
				blocks[r.c] = b
			}
			b.Times, b.Values = append(b.Times, r.t), append(b.Values, r.v)
		}
		for c := range station.NumChannels {
			if b := blocks[c]; b != nil {
				e.Push(b, rows[n-1].t)
			}
		}
		e.Advance()
		rows = rows[n:]
	}
}

// same compares by value.
func same(t *testing.T, what string, a, b *recorder) {
	t.Helper()
	if !reflect.DeepEqual(a.Strokes, b.Strokes) {
		t.Errorf("%s: strokes differ: %d and %d", what, len(a.Strokes), len(b.Strokes))
	}
	if !reflect.DeepEqual(a.Intervals, b.Intervals) {
		t.Errorf("%s: intervals differ: %d and %d", what, len(a.Intervals), len(b.Intervals))
	}
	if !reflect.DeepEqual(a.Minutes, b.Minutes) {
		t.Errorf("%s: minutes differ: %d and %d", what, len(a.Minutes), len(b.Minutes))
	}
	if !reflect.DeepEqual(a.Gaps, b.Gaps) {
		t.Errorf("%s: gaps differ: %v and %v", what, a.Gaps, b.Gaps)
	}
	if !reflect.DeepEqual(a.Steps, b.Steps) {
		t.Errorf("%s: steps differ: %d and %d", what, len(a.Steps), len(b.Steps))
	}
}

func TestResultDoesNotDependOnBlocks(t *testing.T) {
	for _, counter := range []bool{false, true} {
		rows := invented(200, counter)
		var first recorder
		e := New(testPlate(), &first)
		run(e, rows, 1)
		e.Flush()
		if len(first.Strokes) < 100 {
			t.Fatalf("only %d strokes: the input exercises nothing", len(first.Strokes))
		}
		for seed := uint64(2); seed < 6; seed++ {
			var again recorder
			e := New(testPlate(), &again)
			run(e, rows, seed)
			e.Flush()
			same(t, "other blocks", &first, &again)
		}
	}
}

func TestGapsAreBlindHoweverCut(t *testing.T) {
	rows := invented(120, true)
	var cut []sample
	for _, r := range rows {
		if s := r.t.Sub(t0) / station.Second; s < 40 || s >= 51 && s < 70 || s >= 75 {
			cut = append(cut, r)
		}
	}
	var first recorder
	for seed := uint64(1); seed < 8; seed++ {
		var r recorder
		e := New(testPlate(), &r)
		run(e, cut, seed)
		e.Flush()
		if seed == 1 {
			first = r
			continue
		}
		same(t, "gap", &first, &r)
	}
	blind := int64(0)
	for _, m := range first.Minutes {
		blind += m.StateNs[station.Blind]
	}
	if s := float64(blind) / 1e9; s < 15 || s > 16.1 {
		t.Errorf("blind for %.2f s, want the 11 s gap and the 5 s of the shorter one", s)
	}
}

func TestSnapshotChangesNothing(t *testing.T) {
	rows := invented(200, true)
	var whole recorder
	e := New(testPlate(), &whole)
	run(e, rows, 3)
	e.Flush()

	var cut recorder
	e = New(testPlate(), &cut)
	third := len(rows) / 3
	for i := range 3 {
		part := rows[i*third:]
		if i < 2 {
			part = part[:third]
		}
		run(e, part, uint64(i))
		var buf bytes.Buffer
		if err := e.Save(&buf); err != nil {
			t.Fatal(err)
		}
		var err error
		if e, err = Restore(bytes.NewReader(buf.Bytes()), &cut); err != nil {
			t.Fatal(err)
		}
	}
	e.Flush()
	same(t, "restored", &whole, &cut)
}

func TestTimesAddUp(t *testing.T) {
	rows := invented(200, false)
	var r recorder
	e := New(testPlate(), &r)
	run(e, rows, 1)
	e.Flush()
	want := rows[len(rows)-1].t.Sub(rows[0].t)
	var states, covered, spans int64
	for _, m := range r.Minutes {
		covered += m.Covered
		for _, ns := range m.StateNs {
			states += ns
		}
	}
	for i, iv := range r.Intervals {
		spans += iv.To.Sub(iv.From)
		if i > 0 && iv.From != r.Intervals[i-1].To {
			t.Errorf("interval %d starts at %v, the one before ends at %v", i, iv.From, r.Intervals[i-1].To)
		}
	}
	if states != want || covered != want || spans != want {
		t.Errorf("states %d, covered %d, intervals %d ns; want %d", states, covered, spans, want)
	}
}

func TestDuplicatesAndDisorderChangeNothing(t *testing.T) {
	rows := invented(100, true)
	var plain recorder
	e := New(testPlate(), &plain)
	run(e, rows, 1)
	e.Flush()

	rng := rand.New(rand.NewPCG(9, 9))
	mixed := append([]sample(nil), rows...)
	for i := 0; i < len(mixed); i += 60 { // disorder of up to 0.4 s
		part := mixed[i:min(i+60, len(mixed))]
		rng.Shuffle(len(part), func(a, b int) { part[a], part[b] = part[b], part[a] })
	}
	var again recorder
	e = New(testPlate(), &again)
	for i := 0; i < len(mixed); i += 30 {
		part := mixed[i:min(i+30, len(mixed))]
		for _, r := range part {
			e.Push(&station.Block{Channel: r.c, Start: r.t, Values: []float64{r.v}}, r.t)
		}
		for _, r := range part[:len(part)/2] { // and some come twice
			e.Push(&station.Block{Channel: r.c, Start: r.t, Values: []float64{r.v}}, r.t)
		}
		e.Advance()
	}
	e.Flush()
	same(t, "mixed", &plain, &again)
	if c := e.Tally(); c.Duplicate+c.Late == 0 {
		t.Error("no duplicate was counted")
	}
}

func TestClockSetBackStartsASegment(t *testing.T) {
	rows := invented(100, true)
	var r recorder
	e := New(testPlate(), &r)
	for i, x := range rows {
		tm := x.t
		if i > len(rows)/2 {
			tm = tm.Add(-3600 * station.Second)
		}
		e.Push(&station.Block{Channel: x.c, Start: tm, Values: []float64{x.v}}, x.t)
		e.Advance()
	}
	e.Flush()
	if c := e.Tally(); c.ClockSteps != 1 {
		t.Fatalf("%d clock steps seen, want 1 (late %d)", c.ClockSteps, c.Late)
	}
	if n := len(r.Minutes); n == 0 || r.Minutes[n-1].Segment != 1 {
		t.Error("the minutes after the step do not carry a new segment")
	}
}

func TestRedeliveryIsNoClockStep(t *testing.T) {
	rows := invented(100, true)
	var plain, again recorder
	e := New(testPlate(), &plain)
	run(e, rows, 1)
	e.Flush()
	e = New(testPlate(), &again)
	half := len(rows) / 2
	run(e, rows[:half], 1)
	for _, x := range rows[half-6000 : half] { // 40 s of it once more, all at once
		e.Push(&station.Block{Channel: x.c, Start: x.t, Values: []float64{x.v}}, rows[half].t)
	}
	e.Advance()
	run(e, rows[half:], 2)
	e.Flush()
	if c := e.Tally(); c.ClockSteps != 0 {
		t.Errorf("redelivery was taken for %d clock steps", c.ClockSteps)
	}
	same(t, "redelivered", &plain, &again)
}

func TestSlowSamplingIsUnknownNotZero(t *testing.T) {
	var slow []sample
	for _, r := range invented(120, false) {
		if r.t.Sub(t0)%station.Second == 0 {
			slow = append(slow, r)
		}
	}
	var r recorder
	e := New(testPlate(), &r)
	run(e, slow, 1)
	e.Flush()
	for _, m := range r.Minutes {
		if m.StrokeMethod != station.MethodNone || m.AirReason == "" {
			t.Errorf("minute %v: strokes %d by %v, air reason %q; at 1 Hz without a counter both are unknown", m.Start, m.Strokes, m.StrokeMethod, m.AirReason)
		}
	}
}

func TestSteadyStateAllocatesNothing(t *testing.T) {
	rows := invented(300, true)
	e := New(testPlate(), &discard{})
	blocks := secondBlocks(rows)
	warm := len(blocks) / 2
	for i := range blocks[:warm] {
		e.Push(&blocks[i], blocks[i].Start)
		e.Advance()
	}
	rest := blocks[warm:]
	i := 0
	if n := testing.AllocsPerRun(len(rest)-1, func() {
		e.Push(&rest[i], rest[i].Start)
		e.Advance()
		i++
	}); n > 0 {
		t.Errorf("%.2f allocations a block in steady state", n)
	}
}

// discard is an observer that keeps nothing.
type discard struct{}

func (discard) Stroke(station.Stroke)     {}
func (discard) Interval(station.Interval) {}
func (discard) Gap(station.Gap)           {}
func (discard) Minute(*station.Minute)    {}
func (discard) Step(*station.Status)      {}
func (discard) Hour(*station.Status)      {}

// secondBlocks groups rows into blocks of one channel and one second, in order.
func secondBlocks(rows []sample) []station.Block {
	var out []station.Block
	open := map[station.Channel]int{}
	for _, r := range rows {
		i, ok := open[r.c]
		if !ok || r.t.Sub(out[i].Start) >= station.Second {
			i = len(out)
			open[r.c] = i
			out = append(out, station.Block{Channel: r.c, Start: r.t})
		}
		out[i].Times, out[i].Values = append(out[i].Times, r.t), append(out[i].Values, r.v)
	}
	return out
}

// BenchmarkSamples measures the whole engine, everything on, both channels at 100 Hz
// (the invented input decimated in time only), beside a plain sum and a biquad-like
// filter with hysteresis detector over the same values.
func BenchmarkSamples(b *testing.B) {
	rows := invented(600, false)
	for i := range rows { // 50 Hz rows played at 100 Hz
		rows[i].t = t0.Add(rows[i].t.Sub(t0) / 2)
	}
	off := rows[len(rows)-1].v - rows[1].v // played again and again: the outlet must not step where it begins anew
	for i := 1; i < len(rows); i += 2 {
		rows[i].v -= off * float64(i) / float64(len(rows))
	}
	blocks := secondBlocks(rows)
	samples := 0
	for i := range blocks {
		samples += blocks[i].Len()
	}
	b.Run("engine", func(b *testing.B) {
		e := New(testPlate(), &discard{})
		span := int64(300 * station.Second)
		b.ReportAllocs()
		for k := 0; b.Loop(); k++ {
			for i := range blocks {
				e.Push(&blocks[i], blocks[i].Start)
				e.Advance()
				blocks[i].Start += station.Instant(span)
				for j := range blocks[i].Times {
					blocks[i].Times[j] += station.Instant(span)
				}
			}
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*samples), "ns/sample")
	})
	b.Run("baseline-sum", func(b *testing.B) {
		for b.Loop() {
			sink += sumBlocks(blocks)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*samples), "ns/sample")
	})
	b.Run("baseline-filter-detector", func(b *testing.B) {
		for b.Loop() {
			sink += float64(filterDetect(blocks))
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*samples), "ns/sample")
	})
}

var sink float64

func sumBlocks(blocks []station.Block) float64 {
	s := 0.0
	for i := range blocks {
		for _, v := range blocks[i].Values {
			s += v
		}
	}
	return s
}

// filterDetect is a second-order low-pass and a hysteresis detector, the least that any
// stroke detector does.
func filterDetect(blocks []station.Block) int {
	n := 0
	var x1, x2, y1, y2 float64
	up := false
	for i := range blocks {
		for _, x := range blocks[i].Values {
			y := 0.0675*x + 0.135*x1 + 0.0675*x2 + 1.143*y1 - 0.413*y2
			x2, x1, y2, y1 = x1, x, y1, y
			if !up && y > 1e3 {
				up = true
				n++
			} else if up && y < -1e3 {
				up = false
			}
		}
	}
	return n
}
