package live

import (
	"math"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"strokewise/analyzer/station"
)

var (
	key   = station.Key{Site: "northdock", Station: "press-4"}
	start = station.Instant(1767225600 * station.Second)
)

// block gives n samples from t on, value by time.
func block(c station.Channel, t station.Instant, step int64, n int, value func(station.Instant) float64) station.Block {
	b := station.Block{Channel: c, Start: t, Step: step, Values: make([]float64, n)}
	for i := range b.Values {
		b.Values[i] = value(b.At(i))
	}
	return b
}

func wave(t station.Instant) float64 { return 600e3 + 1e3*math.Sin(float64(t.Sub(start))/1e9) }

// The finest ring that covers the span is read, with no more points than asked for.
func TestTraceChoosesARing(t *testing.T) {
	l := New(1)
	for s := range int64(3 * 3600) {
		l.Samples(key, []station.Block{block(station.OutletPressure, start.Add(s*station.Second), 50*station.Millisecond, 20, wave)})
	}
	end := start.Add(3 * 3600 * station.Second)
	for _, c := range []struct {
		span   int64
		points int
		step   int64
	}{
		{30 * station.Second, 2000, 20 * station.Millisecond},
		{300 * station.Second, 2000, 200 * station.Millisecond},
		{3600 * station.Second, 2000, 2 * station.Second},
		{7000 * station.Second, 500, 16 * station.Second},
		{30 * station.Second, 100, 320 * station.Millisecond},
	} {
		got := l.Trace(key, end.Add(-c.span), end, c.points)
		if got.Outlet.Step != c.step {
			t.Errorf("span %d: step %d, want %d", c.span, got.Outlet.Step, c.step)
		}
		if n := got.Outlet.Len(); n > c.points || int64(n) < c.span/max(c.step, 50*station.Millisecond)-2 {
			t.Errorf("span %d: %d points of %d", c.span, n, c.points)
		}
		for i, at := range got.Outlet.At {
			if at < end.Add(-c.span-c.step) || at >= end || got.Outlet.Low[i] > got.Outlet.High[i] || i > 0 && at <= got.Outlet.At[i-1] {
				t.Fatalf("span %d: point %d at %v: %g to %g", c.span, i, at, got.Outlet.Low[i], got.Outlet.High[i])
			}
		}
		if got.Inlet.Len() != 0 {
			t.Error("an inlet that nobody sent")
		}
	}
}

// Neither order, repetition nor the cut into blocks changes the extremes.
func TestOrderAndRepetitionDoNoHarm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		times := rapid.SliceOfN(rapid.Int64Range(0, 50_000), 1, 200).Draw(t, "ms")
		more := rapid.SliceOfN(rapid.IntRange(0, len(times)-1), 0, 50).Draw(t, "again")
		a, b := New(1), New(1)
		send := func(l *Live, ms int64) {
			l.Samples(key, []station.Block{block(station.InletPressure, start.Add(ms*station.Millisecond), 0, 1, wave)})
		}
		for _, ms := range times {
			send(a, ms)
		}
		for i := len(times) - 1; i >= 0; i-- {
			send(b, times[i])
		}
		for _, i := range more {
			send(b, times[i])
		}
		x, y := a.Trace(key, start, start.Add(50*station.Second+1), 5000), b.Trace(key, start, start.Add(50*station.Second+1), 5000)
		if x.Inlet.Len() != y.Inlet.Len() {
			t.Fatalf("%d and %d points", x.Inlet.Len(), y.Inlet.Len())
		}
		for i := range x.Inlet.At {
			if x.Inlet.At[i] != y.Inlet.At[i] || math.Float32bits(x.Inlet.Low[i]) != math.Float32bits(y.Inlet.Low[i]) || math.Float32bits(x.Inlet.High[i]) != math.Float32bits(y.Inlet.High[i]) {
				t.Fatalf("point %d differs", i)
			}
		}
	})
}

func TestSlowSensorIsOneLine(t *testing.T) {
	l := New(1)
	for s := range int64(50) {
		if s < 20 || s > 40 {
			l.Samples(key, []station.Block{block(station.InletPressure, start.Add(s*station.Second), 0, 1, wave)})
		}
	}
	got := l.Trace(key, start, start.Add(50*station.Second), 3000).Inlet
	breaks := 0
	for _, v := range got.Low {
		if math.IsNaN(float64(v)) {
			breaks++
		}
	}
	if got.Len() != 30 || breaks != 1 {
		t.Errorf("%d points, %d breaks", got.Len(), breaks)
	}
}

func TestWhatIsOlderThanTheRingIsLeftOut(t *testing.T) {
	l := New(1)
	for _, s := range []int64{10_000, 0, 9_999} {
		l.Samples(key, []station.Block{block(station.InletPressure, start.Add(s*station.Second), 0, 1, wave)})
	}
	points := func() int {
		got := l.Trace(key, start, start.Add(10_001*station.Second), 5000)
		return got.Inlet.Len()
	}
	if n := points(); n != 2 {
		t.Errorf("%d points", n)
	}
	bad := station.Block{Channel: station.InletPressure, Start: -5, Step: station.Second, Values: []float64{1, math.NaN(), math.Inf(1)}}
	l.Samples(key, []station.Block{bad, {Channel: station.InletPressure}})
	if n := points(); n != 2 {
		t.Errorf("%d points after nonsense", n)
	}
}

func TestClockSetBack(t *testing.T) {
	l := New(1)
	var at Cursor
	send := func(s int64) {
		l.Samples(key, []station.Block{block(station.InletPressure, start.Add(s*station.Second), station.Second, 5, wave)})
	}
	send(7200)
	l.Since(key, &at)
	l.Segment(key, 0, start.Add(7200*station.Second))
	l.Segment(key, 1, start.Add(7230*station.Second)) // a step forward keeps what is there
	if got := l.Since(key, &at); got.Restarted {
		t.Error("restarted by a step forward")
	}
	l.Segment(key, 2, start)
	send(0)
	if got := l.Since(key, &at); !got.Restarted || got.Inlet.Len() != 5 {
		t.Errorf("after the step: %+v", got)
	}
	if got := l.Newest(key); got != start.Add(4*station.Second) {
		t.Errorf("newest %v", got)
	}
}

func TestStrokesAndIntervals(t *testing.T) {
	l := New(1)
	var at Cursor
	l.Stroke(key, station.Stroke{At: start})
	l.Since(key, &at)
	for i := range int64(5000) {
		l.Stroke(key, station.Stroke{At: start.Add(i * station.Second), Side: station.Side(1 + i%2)})
		l.Interval(key, station.Interval{State: station.Holding, From: start.Add(i * station.Second), To: start.Add((i + 1) * station.Second)})
	}
	got := l.Since(key, &at)
	if len(got.Strokes) != mostStrokes || len(got.Intervals) != mostIntervals || got.Strokes[mostStrokes-1].At != start.Add(4999*station.Second) {
		t.Errorf("%d strokes, %d intervals", len(got.Strokes), len(got.Intervals))
	}
	if got := l.Since(key, &at); len(got.Strokes)+len(got.Intervals) != 0 {
		t.Error("given twice")
	}
	within := l.Trace(key, start.Add(4900*station.Second), start.Add(4910*station.Second), 100)
	if len(within.Strokes) != 10 || len(within.Intervals) != 10 {
		t.Errorf("%d strokes, %d intervals within ten seconds", len(within.Strokes), len(within.Intervals))
	}
}

// What is worked out behind goes in front, and readers of what is new do not hear of it.
func TestPastGoesInFront(t *testing.T) {
	l := New(1)
	var at Cursor
	second := func(i int64) station.Instant { return start.Add(i * station.Second) }
	for i := range int64(4000) {
		l.Stroke(key, station.Stroke{At: second(1000 + i)})
	}
	l.Interval(key, station.Interval{From: second(1000), To: second(2000)})
	l.Since(key, &at)
	var strokes []station.Stroke
	var intervals []station.Interval
	for i := range int64(1100) {
		strokes = append(strokes, station.Stroke{At: second(i)})
		intervals = append(intervals, station.Interval{From: second(i), To: second(i + 1)})
	}
	l.Past(key, strokes, intervals)
	l.Past(key, strokes, intervals)
	if got := l.Since(key, &at); len(got.Strokes)+len(got.Intervals) != 0 {
		t.Error("the past was given as new")
	}
	l.Stroke(key, station.Stroke{At: second(5000)})
	if got := l.Since(key, &at); len(got.Strokes) != 1 || got.Strokes[0].At != second(5000) {
		t.Errorf("new: %v", got.Strokes)
	}
	got := l.Trace(key, start, second(6000), 10)
	if len(got.Strokes) != mostStrokes || len(got.Intervals) != mostIntervals {
		t.Fatalf("%d strokes, %d intervals", len(got.Strokes), len(got.Intervals))
	}
	for i := 1; i < len(got.Strokes); i++ {
		if got.Strokes[i].At.Sub(got.Strokes[i-1].At) != station.Second {
			t.Fatalf("stroke %d at %v after %v", i, got.Strokes[i].At, got.Strokes[i-1].At)
		}
	}
}

// The history's minutes fill what is empty and change nothing else.
func TestMinutesFillEmptyBins(t *testing.T) {
	l := New(0)
	l.Samples(key, []station.Block{block(station.OutletPressure, start.Add(1800*station.Second), 0, 1, func(station.Instant) float64 { return 5 })})
	var minutes []station.Minute
	for i := range int64(31) {
		minutes = append(minutes, station.Minute{Start: start.Add(i * station.Minute60), InletMean: station.Gauge(math.NaN()), OutletMean: 7})
	}
	l.Minutes(key, minutes)
	in, out, _ := l.Lines(key)
	if in.Len() != 0 || out.Len() != smallBins {
		t.Fatalf("%d and %d points", in.Len(), out.Len())
	}
	for i, at := range out.At {
		want := float32(7)
		if at == start.Add(1800*station.Second) {
			want = 5
		}
		if out.Low[i] != want {
			t.Errorf("at %v: %g", at, out.Low[i])
		}
	}
}

// Beyond the full stations the small lines are kept, and nothing else.
func TestBounds(t *testing.T) {
	l := New(1)
	other := station.Key{Site: "northdock", Station: "press-5"}
	for _, k := range []station.Key{key, other} {
		for s := range int64(3600) {
			l.Samples(k, []station.Block{block(station.OutletPressure, start.Add(s*station.Second), 0, 1, wave)})
		}
		l.Stroke(k, station.Stroke{At: start})
	}
	got := l.Trace(other, start, start.Add(3600*station.Second), 5000)
	if got.Full || got.Outlet.Step != smallSpan || got.Outlet.Len() != smallBins || len(got.Strokes) != 0 {
		t.Errorf("full %v, step %d, %d points, %d strokes", got.Full, got.Outlet.Step, got.Outlet.Len(), len(got.Strokes))
	}
	in, out, _ := l.Lines(key)
	if in.Len() != 0 || out.Len() != smallBins {
		t.Errorf("%d and %d points", in.Len(), out.Len())
	}
	if got := l.Trace(station.Key{}, start, start.Add(1), 10); got.Outlet.Len() != 0 || l.Newest(station.Key{}) != 0 {
		t.Error("something of a station that nobody knows")
	}
}

func TestReadersAndWriter(t *testing.T) {
	l := New(1)
	var wg sync.WaitGroup
	done := make(chan struct{})
	for range 3 {
		wg.Go(func() {
			var at Cursor
			for {
				select {
				case <-done:
					return
				default:
					l.Since(key, &at)
					l.Trace(key, start, start.Add(60*station.Second), 1000)
					l.Lines(key)
				}
			}
		})
	}
	for s := range int64(300) {
		l.Samples(key, []station.Block{block(station.OutletPressure, start.Add(s*station.Second), 10*station.Millisecond, 100, wave)})
		l.Stroke(key, station.Stroke{At: start.Add(s * station.Second)})
		l.Segment(key, uint32(s/100), start)
	}
	close(done)
	wg.Wait()
}

func BenchmarkSamples(b *testing.B) {
	l := New(1)
	blocks := []station.Block{block(station.InletPressure, start, 10*station.Millisecond, 100, wave), block(station.OutletPressure, start, 10*station.Millisecond, 100, wave)}
	b.ReportAllocs()
	for b.Loop() {
		l.Samples(key, blocks)
		for i := range blocks {
			blocks[i].Start = blocks[i].Start.Add(station.Second)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(200*b.N), "ns/sample")
}

func BenchmarkTrace(b *testing.B) {
	l := New(1)
	for s := range int64(60) {
		l.Samples(key, []station.Block{block(station.OutletPressure, start.Add(s*station.Second), 10*station.Millisecond, 100, wave)})
	}
	for b.Loop() {
		l.Trace(key, start.Add(30*station.Second), start.Add(60*station.Second), 2000)
	}
}
