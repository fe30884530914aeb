package web

import (
	"fmt"
	"net/http"
	"testing"
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
