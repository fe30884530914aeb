package app

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
	"strokewise/deploy/peers"
)

// BenchmarkStations reads seconds of two channels at 100 Hz from the log for more and more
// stations, in process, to the committed minutes: how many times faster than they came,
// the processor time a million samples cost, and the memory a station takes.
func BenchmarkStations(b *testing.B) {
	m := peers.Mosquitto(b)
	for _, c := range []struct{ stations, seconds int }{{10, 600}, {100, 180}, {1000, 120}, {10_000, 65}} {
		b.Run(fmt.Sprint(c.stations), func(b *testing.B) {
			for b.Loop() {
				b.StopTimer()
				o := manyStations(b, m.Addr, c.stations)
				bytes := prefill(b, o.Data, o.Stations, c.seconds)
				before, cpu := heapUsed(), processor()
				b.StartTimer()
				began := time.Now()
				a, err := New(b.Context(), o)
				if err != nil {
					b.Fatal(err)
				}
				ctx, cancel := context.WithCancel(b.Context())
				done := make(chan error, 1)
				go func() { done <- a.Run(ctx) }()
				for !a.board.Ready() {
					select {
					case err := <-done:
						b.Fatal("the program ended: ", err)
					case <-time.After(time.Millisecond):
					}
				}
				took := time.Since(began).Seconds()
				b.StopTimer()
				samples := float64(c.stations * c.seconds * 200)
				b.ReportMetric(float64(c.seconds)/took, "x-realtime")
				b.ReportMetric((processor()-cpu)/samples*1e6, "cpu-s/Msample")
				b.ReportMetric((heapUsed()-before)/1024/float64(c.stations), "KiB/station")
				b.ReportMetric(bytes/samples, "log-B/sample")
				cancel()
				<-done
				a.Close()
				b.StartTimer()
			}
		})
	}
}

// processor gives the processor time of this process so far, s.
func processor() float64 {
	var u syscall.Rusage
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return float64(u.Utime.Nano()+u.Stime.Nano()) * 1e-9
}

// heapUsed gives the memory in use, bytes.
func heapUsed() float64 {
	var s runtime.MemStats
	runtime.GC()
	runtime.GC() // pools live through one
	runtime.ReadMemStats(&s)
	return float64(s.HeapInuse + s.StackInuse)
}

func manyStations(b *testing.B, addr string, n int) Options {
	ids := make([]string, n)
	for i := range ids {
		ids[i] = fmt.Sprintf("station-%d", i)
	}
	o := options(b, addr, ids...)
	o.MaxBytes = 20e9
	for i := range o.Stations {
		p := &o.Stations[i].Plate
		p.Set, p.TankVolume = 900e3, 20e-3
		p.Bores(0.063, 0.063, 0.016, 0.06, true, true)
	}
	return o
}

// prefill puts seconds of strokes into the log of a data folder and gives its size, bytes.
func prefill(b *testing.B, data string, stations []Station, seconds int) float64 {
	ctx := b.Context()
	log, err := samplelog.Open(ctx, samplelog.Options{Dir: filepath.Join(data, "log"), MaxBytes: 20e9})
	if err != nil {
		b.Fatal(err)
	}
	defer log.Close()
	in, out := make([]float64, 100), make([]float64, 100)
	for i := range in { // two strokes a second
		f := math.Mod(float64(i)/50, 1)
		in[i] = 600e3 - math.Round(20*(8+6*f))*100 + 100*float64(i*7%5)
		out[i] = 880e3 + math.Round(30*math.Max(0, f-0.4))*100 + 100*float64(i*3%5)
	}
	start := station.InstantOf(time.Now().Add(-time.Duration(seconds+10) * time.Second)).Floor(station.Second)
	var parts [station.Partitions][]station.Key
	for _, s := range stations {
		n := s.Plate.Key.Partition()
		parts[n] = append(parts[n], s.Plate.Key)
	}
	for s := range seconds {
		at := start.Add(int64(s) * station.Second)
		for n, keys := range parts {
			records := make([]station.Record, len(keys))
			for i, k := range keys {
				records[i] = station.Record{Key: k, Arrival: at.Add(station.Second), Blocks: []station.Block{
					{Channel: station.InletPressure, Start: at, Step: 10 * station.Millisecond, Values: in},
					{Channel: station.OutletPressure, Start: at, Step: 10 * station.Millisecond, Values: out}}}
			}
			for len(records) > 0 {
				k := min(len(records), 200)
				if _, err := log.Append(ctx, n, records[:k]); err != nil {
					b.Fatal(err)
				}
				records = records[k:]
			}
		}
	}
	size, err := log.Size(ctx)
	if err != nil {
		b.Fatal(err)
	}
	return float64(size.Bytes)
}
