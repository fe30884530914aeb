package batch

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
)

// costly gives a record that takes as many bytes as the log's encoding ever does: no
// value is a short decimal and every time is its own.
func costly(n, channels int, times bool) station.Record {
	r := station.Record{Key: station.Key{Site: "northdock", Station: "press-4"}, Arrival: math.MaxInt64}
	g := rand.New(rand.NewPCG(1, 2))
	for c := range channels {
		b := station.Block{Channel: station.Channel(c), Start: 1, Step: 1e7, Values: make([]float64, n)}
		for i := range b.Values {
			b.Values[i] = g.Float64() * 1e6
		}
		if times {
			b.Times = make([]station.Instant, n)
			for i := range b.Times {
				b.Times[i] = station.Instant(g.Int64())
			}
			b.Start = b.Times[0]
		}
		r.Blocks = append(r.Blocks, b)
	}
	return r
}

func TestEveryEntryFitsTheLog(t *testing.T) {
	for name, r := range map[string]station.Record{
		"regular":   costly(100_000, 1, false),
		"times":     costly(100_000, 1, true),
		"channels":  costly(20_000, 5, true),
		"no blocks": {Key: station.Key{Site: "northdock"}},
	} {
		entries := shares([]item{{rec: record("press-4", 1)}, {rec: r}, {rec: r}})
		for _, s := range entries {
			for _, e := range s.entries {
				data, err := samplelog.Encode(e)
				if err != nil || len(data) > maxEntry || maxEntry > samplelog.MaxEntry {
					t.Errorf("%s: an entry of %d records has %d bytes, %v", name, len(e), len(data), err)
				}
			}
		}
	}
}

func TestSizeIsNoLessThanTheEncoding(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := station.Record{Key: station.Key{Site: rapid.String().Draw(t, "site"), Station: "s"}, Arrival: station.Instant(rapid.Int64().Draw(t, "arrival"))}
		for range rapid.IntRange(0, 4).Draw(t, "blocks") {
			b := station.Block{Channel: station.InletFlow, Stamp: 1, Start: station.Instant(rapid.Int64().Draw(t, "start")), Step: rapid.Int64().Draw(t, "step"),
				Values: rapid.SliceOf(rapid.OneOf(rapid.Float64(), rapid.Map(rapid.Int64Range(-1<<52, 1<<52), func(n int64) float64 { return float64(n) }))).Draw(t, "values")}
			if rapid.Bool().Draw(t, "irregular") {
				for range b.Values {
					b.Times = append(b.Times, station.Instant(rapid.Int64().Draw(t, "time")))
				}
			}
			r.Blocks = append(r.Blocks, b)
		}
		data, err := samplelog.Encode([]station.Record{r})
		if err != nil {
			t.Skip("not encodable: ", err)
		}
		if n := size(&r); n < len(data) {
			t.Fatalf("estimated %d bytes, encoded %d", n, len(data))
		}
	})
}

func TestSplitKeepsEverySample(t *testing.T) {
	r := costly(70_001, 2, true)
	r.Blocks[1].Times = nil // a regular channel beside an irregular one
	r.Blocks = append(r.Blocks, station.Block{Channel: station.Cycles, Start: 5, Values: []float64{17}})
	parts := split(&r, size(&r))
	if len(parts) < 3 {
		t.Fatalf("%d parts", len(parts))
	}
	var next [3]int
	for _, p := range parts {
		if p.Key != r.Key || p.Arrival != r.Arrival {
			t.Fatalf("part of %s at %d", p.Key, p.Arrival)
		}
		for _, b := range p.Blocks {
			c := b.Channel
			for i := range b.Values {
				whole := &r.Blocks[c]
				if c == station.Cycles {
					whole = &r.Blocks[2]
				}
				k := next[c]
				if b.Values[i] != whole.Values[k] || b.At(i) != whole.At(k) {
					t.Fatalf("%s: sample %d is %g at %d, want %g at %d", c, k, b.Values[i], b.At(i), whole.Values[k], whole.At(k))
				}
				next[c]++
			}
		}
	}
	if next != [3]int{70_001, 70_001, 1} {
		t.Errorf("samples by channel %v", next)
	}
}
