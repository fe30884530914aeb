package playback

import (
	"context"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
)

// second publishes the samples of [lo, hi), shifted, in the recording's style.
func (p *Player) second(ctx context.Context, r *Recording, lo, hi station.Instant, shift int64, counts float64) error {
	var blocks []station.Block
	for i := range r.Blocks {
		b := &r.Blocks[i]
		a, z := index(b, lo), index(b, hi)
		if a == z {
			continue
		}
		out := station.Block{Channel: b.Channel, Start: b.Times[a].Add(shift), Step: int64(1e9 / r.Rate), Values: b.Values[a:z]}
		if b.Channel == station.Cycles && counts > 0 {
			out.Values = make([]float64, z-a)
			for k, v := range b.Values[a:z] {
				out.Values[k] = v + counts
			}
		}
		blocks = append(blocks, out)
	}
	k := r.Plate.Key
	for _, m := range payload.Render(r.Style, "boost/"+k.Site+"/"+k.Station, blocks, nil) {
		if err := p.opt.Publish(ctx, m.Topic, m.Payload); err != nil {
			return err
		}
	}
	return nil
}

// index gives the first sample not before t.
func index(b *station.Block, t station.Instant) int {
	lo, hi := 0, len(b.Times)
	for lo < hi {
		if mid := (lo + hi) / 2; b.Times[mid] < t {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	return lo
}
