package payload

import (
	"math"
	"strconv"
	"strings"

	"strokewise/analyzer/station"
)

// Style is the way in which edge sensors write: the counterpart of Format, for virtual
// stations and recordings that are played.
type Style uint8

// The styles.
const (
	Joint    Style = iota // one block of all channels
	Channels              // a block of each channel
	Packs                 // a SenML pack of each channel
	Plain                 // plain numbers, without times of their own
	NumStyles
)

var styleNames = [NumStyles]string{"joint", "channels", "senml", "scalar"}

// String gives the style's name on the command line.
func (s Style) String() string {
	if s < NumStyles {
		return styleNames[s]
	}
	return "unknown"
}

// ParseStyle finds a style by its name.
func ParseStyle(name string) (Style, bool) {
	for i, n := range styleNames {
		if n == name {
			return Style(i), true
		}
	}
	return 0, false
}

// Outgoing is a message to be published.
type Outgoing struct {
	Topic   string
	Payload []byte
}

// Render writes blocks of one station as messages below the topic of the station
// (site/station): what Decode reads back. Pressures are written in kPa gauge to the
// pascal (SenML: Pa), temperatures in °C, flows in L/min.
func Render(s Style, topic string, blocks []station.Block, dst []Outgoing) []Outgoing {
	if s == Joint {
		return joint(topic, blocks, dst)
	}
	for i := range blocks {
		b := &blocks[i]
		if b.Len() == 0 {
			continue
		}
		own := topic + "/" + b.Channel.String()
		switch s {
		case Channels:
			out := times(append([]byte(nil), '{'), b)
			dst = append(dst, Outgoing{own, append(list(append(out, `,"v":`...), b), '}')})
		case Packs:
			dst = append(dst, Outgoing{own, pack(topic, b)})
		default:
			for _, v := range b.Values {
				dst = append(dst, Outgoing{own, number(nil, plain(b.Channel, v))})
			}
		}
	}
	return dst
}

// joint writes one block of all channels that share their times, and one of each of the
// others.
func joint(topic string, blocks []station.Block, dst []Outgoing) []Outgoing {
	done := make([]bool, len(blocks))
	for i := range blocks {
		if done[i] || blocks[i].Len() == 0 {
			continue
		}
		out := times([]byte{'{'}, &blocks[i])
		for j := i; j < len(blocks); j++ {
			if b := &blocks[j]; !done[j] && abreast(&blocks[i], b) {
				done[j] = true
				out = append(append(append(out, `,"`...), b.Channel.String()...), `":`...)
				out = list(out, b)
			}
		}
		dst = append(dst, Outgoing{topic, append(out, '}')})
	}
	return dst
}

// abreast tells whether two blocks have the same times.
func abreast(a, b *station.Block) bool {
	if a.Len() != b.Len() || (a.Times == nil) != (b.Times == nil) {
		return false
	}
	if a.Times == nil {
		return a.Start == b.Start && (a.Step == b.Step || a.Len() == 1)
	}
	for i := range a.Times {
		if a.Times[i] != b.Times[i] {
			return false
		}
	}
	return true
}

// times appends "t0" and "dt", or "t".
func times(out []byte, b *station.Block) []byte {
	if b.Times == nil {
		out = unix(append(out, `"t0":`...), b.Start)
		if b.Len() > 1 {
			out = number(append(out, `,"dt":`...), float64(b.Step)/1e9)
		}
		return out
	}
	out = append(out, `"t":[`...)
	for i, t := range b.Times {
		if i > 0 {
			out = append(out, ',')
		}
		out = unix(out, t)
	}
	return append(out, ']')
}

func list(out []byte, b *station.Block) []byte {
	out = append(out, '[')
	for i, v := range b.Values {
		if i > 0 {
			out = append(out, ',')
		}
		out = number(out, plain(b.Channel, v))
	}
	return append(out, ']')
}

// pack writes a SenML pack.
func pack(topic string, b *station.Block) []byte {
	unit := map[station.Channel]string{station.TankTemperature: "K", station.InletFlow: "m3/s"}[b.Channel]
	switch {
	case b.Channel.IsPressure():
		unit = "Pa"
	case unit == "":
		unit = "count"
	}
	t0 := b.At(0)
	out := append([]byte(`[{"bn":`), strconv.Quote("urn:dev:"+topic[strings.LastIndexByte(topic, '/')+1:]+":")...)
	out = unix(append(out, `,"bt":`...), t0)
	out = append(append(append(out, `,"bu":"`...), unit...), `"}`...)
	for i, v := range b.Values {
		if b.Channel.IsPressure() {
			v = math.Round(v*10) / 10
		}
		out = append(append(append(out, `,{"n":"`...), b.Channel.String()...), `","t":`...)
		out = number(out, float64(b.At(i).Sub(t0))/1e9)
		out = append(number(append(out, `,"v":`...), v), '}')
	}
	return append(out, ']')
}

// plain undoes Channel.SI with kPa.
func plain(c station.Channel, v float64) float64 {
	switch {
	case c.IsPressure():
		return math.Round(v) / 1e3
	case c == station.TankTemperature:
		return math.Round((v-273.15)*1e3) / 1e3
	case c == station.InletFlow:
		return v * 60e3
	}
	return v
}

func number(out []byte, v float64) []byte { return strconv.AppendFloat(out, v, 'f', -1, 64) }

// unix appends Unix seconds with microseconds.
func unix(out []byte, t station.Instant) []byte {
	us := int64(t) / station.Microsecond
	out = append(strconv.AppendInt(out, us/1e6, 10), '.')
	frac := strconv.AppendInt(nil, us%1e6+1e6, 10)
	return append(out, frac[1:]...)
}
