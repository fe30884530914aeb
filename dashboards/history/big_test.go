package history

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"strokewise/analyzer/station"
)

// BenchmarkBig measures what a start, a copy and a migration's summing up cost on a large
// file; STROKEWISE_BIG_MINUTES sets its size (a minute takes some 250 bytes).
func BenchmarkBig(b *testing.B) {
	n := 100_000
	if v := os.Getenv("STROKEWISE_BIG_MINUTES"); v != "" {
		if _, err := fmt.Sscan(v, &n); err != nil {
			b.Fatal(err)
		}
	}
	path := filepath.Join(b.TempDir(), "history.db")
	s := open(b, path)
	const each = 10_000
	for k := 0; k*each < n; k++ {
		ms := make([]station.Minute, each)
		for i := range ms {
			ms[i] = minute(i)
		}
		if err := s.Import(context.Background(), StationMinutes{Key: station.Key{Site: "a", Station: fmt.Sprint(k)}, Minutes: ms}); err != nil {
			b.Fatal(err)
		}
	}
	s.Close()
	info, err := os.Stat(path)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		began := time.Now()
		s, err := Open(path, Options{})
		if err != nil {
			b.Fatal(err)
		}
		opened := time.Since(began)
		began = time.Now()
		to := filepath.Join(b.TempDir(), "copy")
		if _, err := Copy(b.Context(), path, to); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(info.Size())/1e6, "MB")
		b.ReportMetric(opened.Seconds(), "s-to-open")
		b.ReportMetric(time.Since(began).Seconds(), "s-to-copy")
		s.Close()
		os.Remove(to)
	}
}
