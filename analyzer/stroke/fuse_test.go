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
		f.Tooth(at, at, true, emit)
		f.Tooth(at+50*ms, at+50*ms, true, emit)
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

func TestFuseDistrustsADeadCounter(t *testing.T) {
	f := NewFuse(&station.Plate{})
	f.Seen = true
	emit, got := collect(&f)
	for i := range 100 {
		f.Tooth(station.Instant(i)*400*ms, station.Instant(i)*400*ms, true, emit)
	}
	if n := len(*got); n != 100 || f.CounterServes() {
		t.Fatalf("got %d strokes from 100 teeth of a station whose switch is dead, counter serves: %v", n, f.CounterServes())
	}
}

func TestFuseTracesOnly(t *testing.T) {
	f := NewFuse(&station.Plate{})
	emit, got := collect(&f)
	for i := range 7 {
		f.Tooth(station.Instant(i)*400*ms, station.Instant(i)*400*ms, true, emit)
	}
	if len(*got) != 7 || (*got)[0].Method != station.MethodTraces {
		t.Fatalf("got %v", *got)
	}
}
