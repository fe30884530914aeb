package web

import (
	"fmt"
	"net/http"
	"testing"
	"time"
)

// BenchmarkFragment is what each open page costs every five seconds, at 1,000 stations.
func BenchmarkFragment(b *testing.B) {
	o := fixture()
	for i := range 1000 {
		s := press()
		s.Plate.Key.Station = fmt.Sprintf("press-%d", i)
		if i%20 != 0 {
			s.Alarms = nil
		}
		o.Board.Put(s)
	}
	h := New(o)
	size := 0
	for b.Loop() {
		w := get(h, "/stations")
		if w.Code != http.StatusOK {
			b.Fatal(w.Code)
		}
		size = w.Body.Len()
	}
	b.ReportMetric(float64(size), "page-bytes")
}

// BenchmarkCards is what all streams of stations together cost once a second, at 1,000
// stations that all changed.
func BenchmarkCards(b *testing.B) {
	o := fixture()
	now := noon
	o.Now = func() time.Time { return now }
	for i := range 1000 {
		s := press()
		s.Plate.Key.Station = fmt.Sprintf("press-%d", i)
		o.Board.Put(s)
	}
	s := &site{Options: o}
	for b.Loop() {
		now = now.Add(time.Second)
		s.cards.renew(s)
	}
}
