package letters

import (
	"context"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
)

// opened returns a store on the log of a folder, and what closes both.
func opened(t testing.TB, dir string, maxBytes int64) (*Store, func()) {
	t.Helper()
	log, err := samplelog.Open(t.Context(), samplelog.Options{Dir: dir, MaxBytes: 1 << 30})
	if err != nil {
		t.Fatal(err)
	}
	s, err := Open(t.Context(), Options{Log: log, MaxBytes: maxBytes})
	if err != nil {
		log.Close()
		t.Fatal(err)
	}
	return s, func() {
		if err := log.Close(); err != nil {
			t.Error(err)
		}
	}
}

func some(label Label, n, bytes int) []Letter {
	out := make([]Letter, n)
	for i := range out {
		out[i] = Letter{Label: label, Detail: "why", Topic: fmt.Sprintf("boost/%d", i), Payload: []byte(strings.Repeat("x", bytes)), Size: bytes,
			Arrival: station.Instant(1e18 + i), Mono: int64(i), Run: "a", Backlog: i%2 == 0}
	}
	return out
}

func read(t testing.TB, s *Store, labels ...Label) []Letter {
	t.Helper()
	var out []Letter
	if err := s.Read(t.Context(), labels, func(l *Letter, _ Label) error { out = append(out, *l); return nil }); err != nil {
		t.Fatal(err)
	}
	return out
}

func TestLettersOutliveTheProcess(t *testing.T) {
	dir := t.TempDir()
	s, stop := opened(t, dir, 1<<20)
	want := some("not-json", 700, 10)
	held := some("clock", 300, 10)
	for i := range held {
		held[i].Held = true
	}
	if err := s.Keep(t.Context(), append(append([]Letter(nil), want...), held...)); err != nil {
		t.Fatal(err)
	}
	stop()
	s, stop = opened(t, dir, 1<<20)
	defer stop()
	got := read(t, s, "not-json", "never-seen")
	for i := range got {
		got[i].Position = 0
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%d of %d letters came back, first %+v", len(got), len(want), got[0])
	}
	if n, err := s.Waiting(t.Context()); n != 300 || err != nil {
		t.Errorf("%d wait: %v", n, err)
	}
	sums, err := s.Sums(t.Context())
	if err != nil || len(sums) != 2 || sums[0].Messages != 700 || sums[0].Oldest != want[0].Arrival || sums[0].Newest != want[699].Arrival {
		t.Errorf("%+v: %v", sums, err)
	}
	l, err := s.Latest(t.Context(), "not-json", 3)
	if err != nil || len(l) != 3 || l[0].Topic != "boost/699" {
		t.Errorf("%+v: %v", l, err)
	}
	if n, err := s.Discard(t.Context(), "not-json"); n != 700 || err != nil || len(read(t, s, "not-json")) != 0 {
		t.Errorf("%d discarded: %v", n, err)
	}
}

// Letters of several reasons come in the order of their arrivals, and one that is removed not at all.
func TestReasonsAreReadTogether(t *testing.T) {
	s, stop := opened(t, t.TempDir(), 1<<20)
	defer stop()
	a, b := some("time-ahead", 50, 10), some("time-too-old", 50, 10)
	for i := range a {
		a[i].Mono, b[i].Mono = int64(2*i), int64(2*i+1)
	}
	if err := s.Keep(t.Context(), append(a, b...)); err != nil {
		t.Fatal(err)
	}
	all := read(t, s, "time-ahead", "time-too-old")
	for i := range all {
		if all[i].Mono != int64(i) {
			t.Fatalf("letter %d arrived at %d", i, all[i].Mono)
		}
	}
	if err := s.Remove(t.Context(), "time-ahead", all[98].Position); err != nil {
		t.Fatal(err)
	}
	if got := read(t, s, "time-ahead", "time-too-old"); len(got) != 99 || got[98].Mono != 99 {
		t.Errorf("%d letters", len(got))
	}
}

// A flood of one label takes no room from another that holds less, and the bound holds.
func TestAFloodPushesOutNoOtherReason(t *testing.T) {
	const bound = 1 << 20
	s, stop := opened(t, t.TempDir(), bound)
	defer stop()
	if err := s.Keep(t.Context(), some("unknown-station", 100, 1000)); err != nil {
		t.Fatal(err)
	}
	for range 20 {
		if err := s.Keep(t.Context(), some("not-json", 500, 1000)); err != nil {
			t.Fatal(err)
		}
	}
	sums, err := s.Sums(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var bytes int64
	for _, m := range sums {
		bytes += m.Bytes
	}
	f := s.Figures()
	if n := len(read(t, s, "unknown-station")); n != 100 || bytes > bound || bytes < bound/2 || f.Lost != 0 || f.Kept != 10_100 {
		t.Errorf("%d of 100 are left, %d bytes of %d, %+v", n, bytes, bound, f)
	}
	// what is left of the flood is its newest
	l := read(t, s, "not-json")
	if int64(len(l)) != f.Kept-f.Dropped-100 || l[len(l)-1].Topic != "boost/499" {
		t.Errorf("%d letters of the flood are left, %d dropped", len(l), f.Dropped)
	}
}

// Letters that wait are never dropped: a full store takes no more, until there is room.
func TestWaitingLettersAreNotDropped(t *testing.T) {
	s, stop := opened(t, t.TempDir(), 100_000)
	defer stop()
	list := some("clock", 300, 1000)
	for i := range list {
		list[i].Held = true
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	done := make(chan error, 1)
	go func() { done <- s.Keep(ctx, list) }()
	for !s.Figures().Stuck {
		time.Sleep(time.Millisecond)
	}
	first := read(t, s, Held)
	if len(first) == 0 || first[0].Topic != "boost/0" {
		t.Fatalf("%d wait", len(first))
	}
	if err := s.RemoveTo(t.Context(), Held, first[len(first)-1].Position); err != nil {
		t.Fatal(err)
	}
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if rest := read(t, s, Held); len(first)+len(rest) != 300 || rest[len(rest)-1].Topic != "boost/299" {
		t.Errorf("%d and %d of 300", len(first), len(rest))
	}
}

// What is too long is kept by its beginning, and says so.
func TestALongPayloadIsCut(t *testing.T) {
	s, stop := opened(t, t.TempDir(), 4<<20)
	defer stop()
	if err := s.Keep(t.Context(), some("not-json", 1, 1<<20)); err != nil {
		t.Fatal(err)
	}
	if l := read(t, s, "not-json"); len(l) != 1 || !l[0].Cut || l[0].Size != 1<<20 || len(l[0].Payload) != keepOfMore {
		t.Errorf("%d letters", len(l))
	}
}

// Whatever the bytes, decoding ends; and what was encoded comes back.
func FuzzLetter(f *testing.F) {
	l := some("not-json", 1, 5)[0]
	f.Add(l.encode())
	f.Add([]byte{1, 255, 0})
	f.Fuzz(func(t *testing.T, b []byte) {
		l, err := decode(b)
		if err != nil || len(l.Detail) > maxText || len(l.Payload) > maxPayload {
			return
		}
		m, err := decode(l.encode())
		l.Payload, m.Payload = append([]byte{}, l.Payload...), append([]byte{}, m.Payload...)
		if err != nil || !reflect.DeepEqual(l, m) {
			t.Errorf("%+v became %+v: %v", l, m, err)
		}
	})
}

// BenchmarkKeep is what a refused message of 2 kB costs.
func BenchmarkKeep(b *testing.B) {
	s, stop := opened(b, b.TempDir(), 256<<20)
	defer stop()
	list := some("not-json", 1024, 2000)
	b.ReportAllocs()
	for b.Loop() {
		if err := s.Keep(b.Context(), list); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1024, "ns/message")
}
