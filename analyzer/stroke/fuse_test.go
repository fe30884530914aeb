package stroke

import (
	"testing"

	"strokewise/analyzer/station"
)

func collect(f *Fuse) (func(station.Stroke), *[]station.Stroke) {
	var got []station.Stroke
	return func(s station.Stroke) { got = append(got, s) }, &got
}

const ms = station.Instant(station.Millisecond)

func TestFuseCounterFixesTheNumber(t *testing.T) {
	f := NewFuse(&station.Plate{})
	f.Seen = true
	emit, got := collect(&f)
	at := station.Instant(0)
	for range 10 { // each cycle: a tooth, a false tooth, then the increment
		at += 400 * ms
		f.Tooth(at, at, emit)
		f.Tooth(at+50*ms, at+50*ms, emit)
		at += 400 * ms
		f.Increment(at, 1, true, 0, 0, emit)
	}
	if len(*got) != 20 {
		t.Fatalf("got %d strokes, want 20: two a cycle whatever the teeth say", len(*got))
	}
	for i, s := range *got {
		if want := station.Side(1 + i%2); s.Side != want {
			t.Fatalf("stroke %d has side %v, want %v", i, s.Side, want)
		}
	}
}

func TestFuseWithoutTeeth(t *testing.T) {
	f := NewFuse(&station.Plate{})
	f.Seen = true
	emit, got := collect(&f)
	for i := range 5 {
		f.Increment(station.Instant(i+1)*1000*ms, 1, false, 0, 0, emit)
	}
	if len(*got) != 10 {
		t.Fatalf("got %d strokes, want 10", len(*got))
	}
	for i := 1; i < len(*got); i++ {
		if (*got)[i].At < (*got)[i-1].At {
			t.Fatalf("stroke %d ends before the one before it", i)
		}
	}
}

// Noise makes teeth as well: a counter that stands is right until what strokes deliver speaks against it.
func TestTeethAloneOverruleNoCounter(t *testing.T) {
	f := NewFuse(&station.Plate{})
	f.Seen = true
	emit, got := collect(&f)
	f.Increment(0, 1, true, 0, 0, emit)
	before := len(*got)
	for i := range 1000 {
		f.Tooth(station.Instant(i)*400*ms, station.Instant(i)*400*ms, emit)
	}
	if n := len(*got) - before; n > 1 || !f.CounterServes() {
		t.Fatalf("got %d strokes from 1000 teeth of noise, counter serves: %v", n, f.CounterServes())
	}
}

func TestFuseMakesUpForALostCounter(t *testing.T) {
	for _, c := range []struct{ teeth, least, want int64 }{{30, 20, 30}, {5, 20, 20}, {500, 20, 20}} {
		f := NewFuse(&station.Plate{})
		f.Seen = true
		emit, got := collect(&f)
		for i := range c.teeth {
			f.Tooth(station.Instant(i+1)*400*ms, station.Instant(i+1)*400*ms, emit)
		}
		f.Distrust(station.Instant(c.teeth)*400*ms, c.least, 0, emit)
		if n := int64(len(*got)); n != c.want || f.CounterServes() {
			t.Errorf("%d teeth, at least %d strokes: %d made up for, want %d; counter serves: %v", c.teeth, c.least, n, c.want, f.CounterServes())
		}
		at := station.Instant(c.teeth+1) * 400 * ms
		f.Tooth(at, at, emit)
		f.Increment(at+100*ms, 1, true, 0, 0, emit)
		if n := int64(len(*got)); n != c.want+1 {
			t.Errorf("a tooth and an increment of a lost counter: %d strokes more, want 1", n-c.want)
		}
		f.Trust()
		f.Increment(at+900*ms, 1, true, 0, 0, emit)
		if n := int64(len(*got)); n != c.want+3 || !f.CounterServes() {
			t.Errorf("a cycle of a counter that is trusted again: %d strokes more, want 3", n-c.want)
		}
	}
}

func TestFuseTracesOnly(t *testing.T) {
	f := NewFuse(&station.Plate{})
	emit, got := collect(&f)
	for i := range 7 {
		f.Tooth(station.Instant(i)*400*ms, station.Instant(i)*400*ms, emit)
	}
	if len(*got) != 7 || (*got)[0].Method != station.MethodTraces {
		t.Fatalf("got %v", *got)
	}
}
