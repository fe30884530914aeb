package pipeline_test

import (
	"math/rand/v2"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/rules"
)

// declare begins ten hours of work on a station.
func declare(t *testing.T, u *pipeline.Unit, at station.Instant) {
	t.Helper()
	if err := u.Command(&station.Command{Kind: "at-work", By: "Ada", Note: "seal", Until: at.Add(600 * station.Minute60)}, at); err != nil {
		t.Fatal(err)
	}
}

// toldAtWork returns when pressure-at-work was raised first, s after the start, -1 if it was not, and its message.
func toldAtWork(u *pipeline.Unit) (float64, string) {
	for _, x := range u.Out.Transitions {
		if x.Alarm == rules.PressureAtWork && x.To == rules.Unacknowledged {
			return float64(x.At.Sub(rigStart)) / 1e9, x.Message
		}
	}
	return -1, ""
}

func block(ch station.Channel, at station.Instant, v ...float64) station.Block {
	return station.Block{Channel: ch, Start: at, Step: station.Second / int64(len(v)), Values: v}
}

// A reading that is published once, on change, is taken though nothing follows it: at work within
// the lateness and a tick, whichever side or signal it is.
func TestASingleReadingOnChangeIsTaken(t *testing.T) {
	for _, c := range []struct {
		ch    station.Channel
		v     float64
		words string
	}{
		{station.InletPressure, 600e3, "The inlet has risen"}, {station.OutletPressure, 600e3, "The outlet"}, {station.SupplyOpen, 1, "signal is open"},
	} {
		u := pipeline.New(station.Plate{Key: station.Key{Site: "a", Station: "b"}, Cadence: station.OnChange}, "x")
		for sec := int64(0); sec < 310; sec++ {
			at := rigStart.Add(sec * station.Second)
			switch {
			case sec == 61:
				declare(t, u, at)
			case sec == 300:
				u.Samples([]station.Block{block(c.ch, at.Add(250e6), c.v)}, at.Add(260e6))
			case sec < 60:
				u.Samples([]station.Block{block(station.InletPressure, at, 0), block(station.OutletPressure, at, 0)}, at)
			}
			u.Tick(at.Add(900e6))
			if s, _ := toldAtWork(u); sec >= 303 && s < 0 {
				t.Fatalf("%s: not raised at %d s", c.ch, sec)
			}
		}
		if at, words := toldAtWork(u); at < 300 || at > 301 || !strings.Contains(words, c.words) {
			t.Errorf("%s: raised at %g s: %s", c.ch, at, words)
		}
	}
}

// What the inlet does to people at work is told whenever within a second it does it, with noise
// and slowly too. A pulse of 0.3 s at 300 kPa is 3 readings of 5 in a slot: 180 kPa. 5 kPa at
// 0.5 kPa a minute take ten minutes. Noise of 3 kPa hides 30 kPa by the rule of ten
// deviations, but nothing above 20 kPa.
func TestRisesAtWork(t *testing.T) {
	pulse := func(from int) func(int64, int) float64 {
		return func(s int64, k int) float64 {
			if s == 300 && k >= from && k < from+3 {
				return 300e3
			}
			return 0
		}
	}
	r := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct {
		name         string
		f            func(s int64, k int) float64
		least, most  float64
		words, plain string
	}{
		{"pulse in the first half", pulse(1), 300, 302, "has risen from", "to 180 kPa gauge"},
		{"pulse in the second half", pulse(6), 300, 302, "has risen from", "to 180 kPa gauge"},
		{"0.5 kPa a minute", func(s int64, _ int) float64 { return float64(s) / 60 * 500 }, 100 + 540, 100 + 660, "has risen from 1 to 6", ""},
		{"25 kPa in noise", func(s int64, _ int) float64 {
			if s < 300 {
				return 3e3 * r.NormFloat64()
			}
			return 25e3 + 3e3*r.NormFloat64()
		}, 300, 302, "has risen", ""},
	} {
		u := pipeline.New(station.Plate{Key: station.Key{Site: "a", Station: "b"}}, "x")
		for sec := int64(0); sec < 800; sec++ {
			at := rigStart.Add(sec * station.Second)
			in, out := make([]float64, 10), make([]float64, 10)
			for k := range in {
				in[k], out[k] = c.f(sec, k)+100*r.NormFloat64(), 100*r.NormFloat64()
			}
			u.Samples([]station.Block{block(station.InletPressure, at, in...), block(station.OutletPressure, at, out...)}, at.Add(station.Second))
			if sec == 100 {
				declare(t, u, at.Add(station.Second))
			}
		}
		if at, words := toldAtWork(u); at < c.least || at > c.most || !strings.Contains(words, c.words) || !strings.Contains(words, c.plain) {
			t.Errorf("%s: raised at %g s: %s", c.name, at, words)
		}
	}
}

// A clock that is set back at the edge keeps samples from being believed for half a minute. At work that
// is told within 5 s and a tick, so that air that comes and goes meanwhile is not missed in silence, and
// air that stays is told once the clock is believed.
func TestAClockSetBackAtWork(t *testing.T) {
	for _, stays := range []bool{false, true} {
		u := pipeline.New(station.Plate{Key: station.Key{Site: "a", Station: "b"}}, "x")
		r, raised := rand.New(rand.NewPCG(1, 2)), int64(0)
		for sec := int64(0); sec < 400; sec++ {
			at := rigStart.Add(sec * station.Second)
			device, p := at, 0.0
			if sec >= 300 {
				device = at.Add(-60 * station.Minute60)
			}
			if sec >= 310 && (stays || sec < 320) {
				p = 600e3
			}
			in, out := make([]float64, 10), make([]float64, 10)
			for k := range in {
				in[k], out[k] = p+100*r.NormFloat64(), p+100*r.NormFloat64()
			}
			u.Samples([]station.Block{block(station.InletPressure, device, in...), block(station.OutletPressure, device, out...)}, at.Add(station.Second))
			u.Tick(at.Add(station.Second))
			if sec == 100 {
				declare(t, u, at.Add(station.Second))
			}
			if s, _ := toldAtWork(u); s >= 0 && raised == 0 {
				raised = sec
			}
		}
		if _, words := toldAtWork(u); raised < 300 || raised > 308 || !strings.Contains(words, "times in the past") {
			t.Errorf("raised at %d s: %s", raised, words)
		}
		rose := 0
		for _, x := range u.Out.Transitions {
			if x.Alarm == rules.PressureAtWork && strings.Contains(x.Message, "The inlet has risen from 0 to 600 kPa") {
				rose++
			}
		}
		if stays != (rose == 1) {
			t.Errorf("air that stays %v: told %d times of it", stays, rose)
		}
	}
}
