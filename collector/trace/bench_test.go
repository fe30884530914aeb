package trace

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"testing"
)

// BenchmarkRead reads three columns at 20 Hz, beside encoding/csv with ParseFloat.
func BenchmarkRead(b *testing.B) {
	const rows = 50_000
	var text bytes.Buffer
	text.WriteString("time,inlet_pressure,outlet_pressure,cycles\n")
	for i := range rows {
		fmt.Fprintf(&text, "%.3f,%.1f,%.1f,%d\n", 1767225600+float64(i)*0.05, 600+10*math.Sin(float64(i)), 900+5*math.Cos(float64(i)), i/20)
	}
	perRow := func(b *testing.B) {
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/rows, "ns/row")
	}
	b.Run("trace", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			r, err := NewReader(bytes.NewReader(text.Bytes()), "b", 0)
			if err != nil {
				b.Fatal(err)
			}
			for {
				if _, err := r.Next(); err == io.EOF {
					break
				} else if err != nil {
					b.Fatal(err)
				}
			}
		}
		perRow(b)
	})
	b.Run("encoding-csv", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			r := csv.NewReader(bytes.NewReader(text.Bytes()))
			r.ReuseRecord = true
			r.Read()
			for {
				row, err := r.Read()
				if err == io.EOF {
					break
				}
				for _, c := range row {
					if _, err := strconv.ParseFloat(c, 64); err != nil {
						b.Fatal(err)
					}
				}
			}
		}
		perRow(b)
	})
}
