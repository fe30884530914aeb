package samplelog

import (
	"testing"
	"time"
)

// The server pauses the consumer behind a reader: it goes on with its signs of life, and gives
// nothing. The reader notices that an entry is there, and asks anew.
func TestAReaderThatIsGivenNothingAsksAnew(t *testing.T) {
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), MaxBytes: 1 << 30, standsFor: 200 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	seen := make(chan uint64, 8)
	go func() {
		_ = j.Read(t.Context(), 3, 0, func(e Entry) error { seen <- e.Position; return nil })
	}()
	add := func(n int) {
		if _, err := j.Append(t.Context(), 3, tick(n)); err != nil {
			t.Fatal(err)
		}
	}
	expect := func(want uint64) {
		t.Helper()
		select {
		case got := <-seen:
			if got != want {
				t.Fatalf("position %d, want %d", got, want)
			}
		case <-time.After(patience):
			t.Fatalf("position %d was not read", want)
		}
	}
	add(0)
	expect(1)
	paused := 0
	for c := range j.stream.ListConsumers(t.Context()).Info() {
		if _, err := j.stream.PauseConsumer(t.Context(), c.Name, time.Now().Add(time.Hour)); err != nil {
			t.Fatal(err)
		}
		paused++
	}
	if paused == 0 {
		t.Fatal("the reader has no consumer at the server")
	}
	add(1)
	expect(2)
	add(2)
	expect(3)
}
