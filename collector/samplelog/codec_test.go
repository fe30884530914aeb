package samplelog

import (
	"math"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"strokewise/analyzer/station"
)

func drawBlock(t *rapid.T) station.Block {
	b := station.Block{
		Channel: station.Channel(rapid.IntRange(0, int(station.NumChannels)-1).Draw(t, "channel")),
		Stamp:   station.Stamp(rapid.IntRange(0, 1).Draw(t, "stamp")),
		Start:   station.Instant(rapid.Int64().Draw(t, "start")),
	}
	value := rapid.OneOf(rapid.Float64(), rapid.Map(rapid.IntRange(-1e7, 1e7), func(n int) float64 { return float64(n) / 10 }))
	b.Values = rapid.SliceOfN(value, 1, 20).Draw(t, "values")
	if rapid.Bool().Draw(t, "irregular") {
		at := b.Start
		for range b.Values {
			b.Times = append(b.Times, at)
			at += station.Instant(rapid.Int64Range(1, 1e12).Draw(t, "dt"))
		}
		return b
	}
	b.Step = rapid.Int64Range(0, 1e12).Draw(t, "step")
	return b
}

func drawRecord(t *rapid.T) station.Record {
	r := station.Record{
		Key:     station.Key{Site: rapid.StringMatching(`[a-z-]{0,9}`).Draw(t, "site"), Station: rapid.StringMatching(`[a-z-]{0,9}`).Draw(t, "station")},
		Arrival: station.Instant(rapid.Int64().Draw(t, "arrival")),
	}
	switch rapid.IntRange(0, 3).Draw(t, "kind") {
	case 0:
		r.Blocks = rapid.SliceOfN(rapid.Custom(drawBlock), 1, 4).Draw(t, "blocks")
	case 1:
		r.Command = &station.Command{Kind: "acknowledge", Alarm: "outlet-leak", By: "somebody", Note: rapid.String().Draw(t, "note"), Until: 5}
	case 2:
		r.Epoch = &station.Epoch{Revision: "r", Plate: station.Plate{Key: r.Key, SweptDrive: rapid.Float64Range(0, 1).Draw(t, "swept"), Set: 9e5, Lateness: 2e9}}
	default:
		r.Tick = true
	}
	return r
}

func TestCodecGivesBackEveryBit(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		want := rapid.SliceOfN(rapid.Custom(drawRecord), 0, 5).Draw(rt, "records")
		data, err := Encode(want)
		if err != nil {
			rt.Fatal(err)
		}
		got, err := Decode(data)
		if err != nil {
			rt.Fatal(err)
		}
		if len(got) != len(want) || len(got) > 0 && !reflect.DeepEqual(got, want) {
			rt.Fatalf("got %+v, want %+v", got, want)
		}
	})
}

func TestCodecKeepsOddValues(t *testing.T) {
	v := []float64{math.Copysign(0, -1), math.Inf(1), 1e-300, 0.1, 1 << 53}
	data, err := Encode([]station.Record{{Blocks: []station.Block{{Values: v}}}})
	if err != nil {
		t.Fatal(err)
	}
	got, err := Decode(data)
	if err != nil {
		t.Fatal(err)
	}
	for i := range v {
		if math.Float64bits(got[0].Blocks[0].Values[i]) != math.Float64bits(v[i]) {
			t.Errorf("value %d: %v became %v", i, v[i], got[0].Blocks[0].Values[i])
		}
	}
}

func TestCodecRefusesAnotherVersion(t *testing.T) {
	for _, data := range [][]byte{nil, {8, 2}, {8, 0}, {255, 255}} {
		if _, err := Decode(data); err == nil {
			t.Errorf("took %v", data)
		}
	}
}

func FuzzDecode(f *testing.F) {
	for _, r := range [][]station.Record{nil, {{Tick: true}}, {{Blocks: []station.Block{{Values: []float64{1, 2.5, 3}, Step: 5}}}},
		{{Epoch: &station.Epoch{}}}, {{Blocks: []station.Block{{Times: []station.Instant{1, 2}, Values: []float64{1, 1e-9}}}}}} {
		data, err := Encode(r)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := Decode(data)
		if err != nil {
			return
		}
		for i := range got {
			for j := range got[i].Blocks {
				b := &got[i].Blocks[j]
				if n := b.Len(); n > 0 {
					b.At(n - 1)
				}
			}
		}
	})
}

// BenchmarkCodec states what a sample costs in the log: 100 samples of 0.1 kPa resolution
// in each of two channels, as a 100 Hz sensor sends them every second.
func BenchmarkCodec(b *testing.B) {
	rec := station.Record{Key: station.Key{Site: "northdock", Station: "press-4"}, Arrival: 1767225600e9}
	for c := station.InletPressure; c <= station.OutletPressure; c++ {
		v := make([]float64, 100)
		for i := range v {
			v[i] = 100 * math.Round(6000+50*math.Sin(float64(i)/7)+float64(i%3))
		}
		rec.Blocks = append(rec.Blocks, station.Block{Channel: c, Start: 1767225600e9, Step: 1e7, Values: v})
	}
	var size int
	b.Run("encode", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			data, err := Encode([]station.Record{rec})
			if err != nil {
				b.Fatal(err)
			}
			size = len(data)
		}
		b.ReportMetric(float64(size)/200, "B/sample")
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/200, "ns/sample")
	})
	data, _ := Encode([]station.Record{rec})
	b.Run("decode", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := Decode(data); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/200, "ns/sample")
	})
}
