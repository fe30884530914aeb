package playback

import (
	"context"
	"fmt"
	"math"
	"strconv"

	"strokewise/analyzer/station"
)

// second publishes the samples of [lo, hi), shifted, in the recording's format.
func (p *Player) second(ctx context.Context, r *Recording, lo, hi station.Instant, shift int64, counts float64) error {
	k := r.Plate.Key
	topic := "boost/" + k.Site + "/" + k.Station
	joint := []byte(nil)
	for i := range r.Blocks {
		b := &r.Blocks[i]
		a, z := index(b, lo), index(b, hi)
		if a == z {
			continue
		}
		t0 := b.Times[a].Add(shift)
		vs := plain(b, a, z, counts)
		own := topic + "/" + b.Channel.String()
		var err error
		switch r.Format {
		case Joint:
			if joint == nil {
				joint = fmt.Appendf(nil, `{"t0":%s,"dt":%s`, unix(t0), number(1/r.Rate))
			}
			joint = append(fmt.Appendf(joint, `,"%s":`, b.Channel), array(vs)...)
		case Blocks:
			err = p.opt.Publish(ctx, own, fmt.Appendf(nil, `{"t0":%s,"dt":%s,"v":%s}`, unix(t0), number(1/r.Rate), array(vs)))
		case SenML:
			err = p.opt.Publish(ctx, own, senml(b, a, z, t0, counts, k.Station))
		}
		if err != nil {
			return err
		}
	}
	if joint == nil {
		return nil
	}
	return p.opt.Publish(ctx, topic, append(joint, '}'))
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

// plain gives values as sensors send them: kPa gauge to the pascal, counts.
func plain(b *station.Block, a, z int, counts float64) []float64 {
	out := make([]float64, 0, z-a)
	for _, v := range b.Values[a:z] {
		switch {
		case b.Channel.IsPressure():
			v = math.Round(v) / 1e3
		case b.Channel == station.Cycles:
			v += counts
		}
		out = append(out, v)
	}
	return out
}

func senml(b *station.Block, a, z int, t0 station.Instant, counts float64, id string) []byte {
	unit := "count"
	if b.Channel.IsPressure() {
		unit = "Pa"
	}
	out := fmt.Appendf(nil, `[{"bn":"urn:dev:%s:","bt":%s,"bu":"%s"}`, id, unix(t0), unit)
	for i := a; i < z; i++ {
		v := b.Values[i]
		if b.Channel == station.Cycles {
			v += counts
		}
		out = fmt.Appendf(out, `,{"n":"%s","t":%s,"v":%s}`, b.Channel, number(float64(b.Times[i].Sub(b.Times[a]))/1e9), number(math.Round(v*10)/10))
	}
	return append(out, ']')
}

func array(vs []float64) []byte {
	out := []byte{'['}
	for i, v := range vs {
		if i > 0 {
			out = append(out, ',')
		}
		out = strconv.AppendFloat(out, v, 'f', -1, 64)
	}
	return append(out, ']')
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// unix gives Unix seconds with microseconds.
func unix(t station.Instant) string {
	us := int64(t) / station.Microsecond
	return fmt.Sprintf("%d.%06d", us/1e6, us%1e6)
}
