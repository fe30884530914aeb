package samplelog

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/trace/recorded"
)

// What samples take in the log, measured with the encoder on the recordings that come with the program:
// messages of a second, each an entry of its own, as at a plant that does not overload the log. The
// constants are upper bounds of what is measured over all recordings, and at most a quarter above.
func TestBytesOfSamples(t *testing.T) {
	all, err := recorded.All()
	if err != nil {
		t.Fatal(err)
	}
	var pressures, counts, messages float64
	var pressureBytes, countBytes, messageBytes float64
	for i := range all {
		r := &all[i]
		var n, bytes float64
		list := seconds(t, r)
		for _, m := range list {
			for _, b := range m {
				one := weigh(r, m[0].Start, b) - weigh(r, m[0].Start, station.Block{Channel: b.Channel, Start: b.Start, Step: b.Step})
				if b.Channel == station.Cycles {
					counts, countBytes = counts+float64(b.Len()), countBytes+one
				} else {
					n, bytes = n+float64(b.Len()), bytes+one
				}
			}
			for k := range m {
				m[k].Values = nil
			}
			messageBytes += weigh(r, m[0].Start, m...)
		}
		t.Logf("%-32s %6.1f pressures a message, %.2f bytes each", r.Name, n/float64(len(list)), bytes/n)
		pressures, pressureBytes, messages = pressures+n, pressureBytes+bytes, messages+float64(len(list))
	}
	for what, v := range map[string]struct{ measured, stated float64 }{
		"a pressure": {pressureBytes / pressures, BytesPerPressure}, "a count": {countBytes / counts, BytesPerCount}, "a message besides": {messageBytes / messages, BytesPerMessage},
	} {
		t.Logf("bytes of %s: %.2f measured, %.2f stated", what, v.measured, v.stated)
		if v.measured > v.stated*1.05 || v.measured < 0.75*v.stated {
			t.Errorf("%.2f bytes of %s, stated are %.2f", v.measured, what, v.stated)
		}
	}
}

// weigh returns the bytes that a message takes in the log as an entry of its own.
func weigh(r *recorded.Recording, at station.Instant, blocks ...station.Block) float64 {
	return float64(Weight([]station.Record{{Key: r.Plate.Key, Arrival: at.Add(station.Second), Blocks: blocks}}))
}

// seconds returns a recording's pressures and counter as messages of a second.
func seconds(t *testing.T, r *recorded.Recording) (out [][]station.Block) {
	t.Helper()
	channels := []station.Channel{station.InletPressure, station.OutletPressure, station.Cycles}
	at := map[station.Instant]map[station.Channel][]float64{}
	var order []station.Instant
	err := r.Play(true, func(blocks []station.Block) {
		for i := range blocks {
			b := &blocks[i]
			for k, v := range b.Values {
				s := b.At(k).Floor(station.Second)
				if at[s] == nil {
					at[s], order = map[station.Channel][]float64{}, append(order, s)
				}
				at[s][b.Channel] = append(at[s][b.Channel], v)
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range order {
		var message []station.Block
		for _, c := range channels {
			if v := at[s][c]; len(v) > 0 {
				message = append(message, station.Block{Channel: c, Start: s, Step: station.Second / int64(len(v)), Values: v})
			}
		}
		out = append(out, message)
	}
	return out
}

// How long a log lasts, by arithmetic: 138 stations at 100 Hz.
func TestLasts(t *testing.T) {
	rate := Rate(138, 100)
	if want := 138 * (220 + 100*6.25); rate != want || Hertz(138, rate) != 100 || Hertz(138, 1) != 0 {
		t.Errorf("%g bytes a second, expected %g", rate, want)
	}
	d := Lasts(20e9, rate)
	if want := 0.9 * 20e9 / rate; math.Abs(d.Seconds()-want) > 1 {
		t.Errorf("lasts %s, expected %g s", d, want)
	}
	if got := Needs(d, rate); math.Abs(float64(got)-20e9) > 1e5 {
		t.Errorf("needs %d", got)
	}
	if Lasts(0, rate) != 0 || Lasts(1e9, 0) != 0 || Lasts(math.MaxInt64, 1e-9) != 0 {
		t.Error("what lasts for ever has a length")
	}
	for n, want := range map[int64]string{24_110_000_001: "25 GB", 9_000_000_001: "9001 MB", 20e12: "20 TB", 1: "1 MB"} {
		if got := Bytes(n); got != want {
			t.Errorf("%d is %q, expected %q", n, got, want)
		}
	}
}
