// Package playback plays recordings that ship with the program to a broker, as edge
// sensors would send them, over and over: the demonstration's plant. The recordings are
// short cuts of recordings of an independent physics model; what it counted is their
// truth, which tests use.
package playback

import (
	"bytes"
	"embed"
	"fmt"
	"io"
	"math"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	"strokewise/collector/trace"
)

//go:embed recordings/*.csv.gz
var files embed.FS

// Site is the demonstration's plant, which does not exist.
const (
	Site = "northdock"
	Zone = "Europe/Lisbon"
)

// Recording is one station's recording.
type Recording struct {
	Name  string
	About string // what it shows
	Plate station.Plate
	Rate  float64 // samples a second and channel
	Style payload.Style
	// Strokes and Cycles were counted by the model that the recording was made with.
	Strokes, Cycles int64

	Blocks []station.Block // as recorded, times from the recording
}

// plate gives the plate data of the model's station.
func plate(id, branch string, tank float64) station.Plate {
	p := station.Plate{
		Key: station.Key{Site: Site, Station: id}, Branch: branch,
		Set: 1000e3, TankVolume: tank, Relief: 1250e3, Counts: station.CountsCycles,
	}
	p.Bores(0.080, 0.080, 0.020, 0.070, false, true)
	return p
}

// Recordings gives all recordings, in the order of the demonstration.
func Recordings() ([]Recording, error) {
	list := []Recording{
		{Name: "even", About: "a healthy station with a changing demand", Plate: plate("press-4", "forming", 30e-3), Rate: 50, Style: payload.Joint, Strokes: 131, Cycles: 65},
		{Name: "slow", About: "the same at ten samples a second", Plate: plate("press-5", "forming", 30e-3), Rate: 10, Style: payload.Channels, Strokes: 367, Cycles: 183},
		{Name: "narrow", About: "a supply line that is too narrow", Plate: plate("clamp-2", "clamping", 30e-3), Rate: 20, Style: payload.Joint, Strokes: 660, Cycles: 330},
		{Name: "leak", About: "a leak at the outlet, growing until the piston never rests", Plate: plate("clamp-3", "clamping", 30e-3), Rate: 20, Style: payload.Packs, Strokes: 564, Cycles: 282},
		{Name: "shutdown", About: "the supply closes after a minute and the tank stays charged", Plate: plate("bench-1", "testing", 30e-3), Rate: 20, Style: payload.Channels, Strokes: 53, Cycles: 26},
		{Name: "fill", About: "an empty tank is filled and cools down, without any leak", Plate: plate("bench-2", "testing", 40e-3), Rate: 20, Style: payload.Packs, Strokes: 107, Cycles: 53},
	}
	for i := range list {
		if err := list[i].load(); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// load reads the recording's samples: one block a channel.
func (r *Recording) load() error {
	name := "recordings/" + r.Name + ".csv.gz"
	data, err := files.ReadFile(name)
	if err != nil {
		return fmt.Errorf("cannot read recording: %w", err)
	}
	t, err := trace.NewReader(bytes.NewReader(data), name, 0)
	if err != nil {
		return err
	}
	at := map[station.Channel]int{}
	for {
		blocks, err := t.Next()
		if err == io.EOF {
			if err := r.check(); err != nil {
				return err
			}
			r.snap()
			return t.Close()
		}
		if err != nil {
			return err
		}
		for _, b := range blocks {
			k, ok := at[b.Channel]
			if !ok {
				k = len(r.Blocks)
				at[b.Channel] = k
				r.Blocks = append(r.Blocks, station.Block{Channel: b.Channel, Start: b.Start})
			}
			o := &r.Blocks[k]
			o.Times, o.Values = append(o.Times, b.Times...), append(o.Values, b.Values...)
		}
	}
}

// check tells whether all channels have a sample in each row, as joint blocks need it.
func (r *Recording) check() error {
	if len(r.Blocks) == 0 {
		return fmt.Errorf("cannot play recording %s: it is empty", r.Name)
	}
	for i := range r.Blocks {
		b := &r.Blocks[i]
		if len(b.Values) != len(r.Blocks[0].Values) {
			return fmt.Errorf("cannot play recording %s: %s has %d samples and %s %d; expected one in each row",
				r.Name, b.Channel, len(b.Values), r.Blocks[0].Channel, len(r.Blocks[0].Values))
		}
	}
	return nil
}

// snap puts the samples on the grid of the rate, from which they are a millisecond or two
// away at most: a sensor that sends blocks knows no other times.
func (r *Recording) snap() {
	for i := range r.Blocks {
		b := &r.Blocks[i]
		for k := range b.Times {
			b.Times[k] = b.Start.Add(int64(math.Round(float64(k)*1e6/r.Rate)) * station.Microsecond)
		}
	}
}

// Span gives the time of the first sample and the length, ns, of the recording, up to
// where a sample after the last would stand.
func (r *Recording) Span() (from station.Instant, length int64) {
	b := &r.Blocks[0]
	step := int64(1e9 / r.Rate)
	return b.Times[0], b.Times[len(b.Times)-1].Sub(b.Times[0]) + step
}
