package payload

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"strokewise/analyzer/station"
)

// What is rendered in any style is read back: every sample of every channel, plain
// numbers in their order.
func TestWhatIsRenderedIsReadBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var blocks []station.Block
		start := station.Instant(rapid.Int64Range(1.7e9, 1.9e9).Draw(rt, "start")) * 1e9
		for _, c := range []station.Channel{station.InletPressure, station.OutletPressure, station.Cycles, station.TankTemperature} {
			b := station.Block{Channel: c, Start: start, Step: rapid.SampledFrom([]int64{1e7, 5e7, 1e8, 1e9}).Draw(rt, "step")}
			for range rapid.IntRange(0, 20).Draw(rt, "n") {
				v := float64(rapid.IntRange(0, 1_000_000).Draw(rt, "v"))
				if c == station.TankTemperature {
					v = 273.15 + v/1e4
				}
				b.Values = append(b.Values, v)
			}
			if rapid.Bool().Draw(rt, "irregular") {
				for i := range b.Values {
					b.Times = append(b.Times, start.Add(int64(i*i)*123*station.Microsecond+int64(i)*station.Microsecond))
				}
			}
			blocks = append(blocks, b)
		}
		style := Style(rapid.IntRange(0, int(NumStyles)-1).Draw(rt, "style"))
		got := map[station.Channel]*station.Block{}
		for _, m := range Render(style, "northdock/press-4", blocks, nil) {
			c := Context{Arrival: start}
			if style != Joint {
				name := m.Topic[len("northdock/press-4/"):]
				c.Channel, c.HasChannel = station.ParseChannel(name)
			}
			out, r := decode(Auto, m.Payload, &c, nil)
			if r != nil {
				rt.Fatalf("%s: %v", m.Payload, r)
			}
			for _, b := range out {
				g := got[b.Channel]
				if g == nil {
					g = &station.Block{}
					got[b.Channel] = g
				}
				for i, v := range b.Values {
					g.Times, g.Values = append(g.Times, b.At(i)), append(g.Values, v)
				}
			}
		}
		for i := range blocks {
			b := &blocks[i]
			if b.Len() == 0 {
				continue
			}
			g := got[b.Channel]
			if g == nil || len(g.Values) != b.Len() {
				rt.Fatalf("%s in style %s: %d samples came back", b.Channel, style, b.Len())
			}
			for j, v := range b.Values {
				if math.Abs(g.Values[j]-v) > 1e-3 || style != Plain && g.Times[j] != b.At(j) {
					rt.Fatalf("%s in style %s: sample %d is %v at %s, was %v at %s", b.Channel, style, j, g.Values[j], g.Times[j], v, b.At(j))
				}
			}
		}
	})
}

func TestStyleNames(t *testing.T) {
	for s := Style(0); s < NumStyles; s++ {
		if got, ok := ParseStyle(s.String()); !ok || got != s {
			t.Errorf("%s is read as %s", s, got)
		}
	}
}
