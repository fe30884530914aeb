package scene

import (
	"fmt"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
)

// Course is what happens to one virtual station.
type Course struct {
	Station rig.Spec
	Days    []int64         // days before, on which the station is played from Start's hour on, ascending
	Day     int64           // s that it is played on each of these
	Since   func(*rig.Spec) // what is otherwise from Start on, nil: nothing
	Length  int64           // s from Start
	Said    []Said
	Watch   func(*station.Status) string // what is wrong with the newest status, "": nothing
}

// Said is a person's word, s after Start.
type Said struct {
	At      int64
	Command station.Command
	Until   int64 // s after Start, 0: none
}

const (
	day       = 24 * 3600 * station.Second
	tickEvery = 5 // s, as the running program
	mostWrong = 3 // of the same kind that are kept
)

// play runs the course as fast as it goes, in event time.
func (c *Course) play() *Outcome {
	o := &Outcome{End: second(c.Length)}
	u := pipeline.New(c.Station.Plate, "1")
	count := int64(0)
	for _, d := range c.Days {
		v := rig.New(c.Station, Start.Add(-d*day), count)
		c.run(u, v, Start.Add(-d*day), c.Day, nil, nil)
		count += int64(v.Truth().Strokes) / 2
	}
	if c.Since != nil {
		c.Since(&c.Station)
	}
	c.run(u, rig.New(c.Station, Start, count), Start, c.Length, c.Said, o)
	u.Flush()
	o.Transitions, o.Intervals = u.Out.Transitions, u.Out.Intervals
	return o
}

// run feeds a unit with a station's readings for so many s.
func (c *Course) run(u *pipeline.Unit, v *rig.Station, from station.Instant, seconds int64, said []Said, o *Outcome) {
	for s := range seconds {
		for len(said) > 0 && said[0].At <= s {
			c.say(u, &said[0], o)
			said = said[1:]
		}
		end := from.Add((s + 1) * station.Second)
		u.Samples(v.Until(end), end)
		if s%tickEvery == 0 {
			u.Tick(end)
		}
		if o != nil && c.Watch != nil && len(o.Wrong) < mostWrong {
			if wrong := c.Watch(u.Status); wrong != "" {
				o.Wrong = append(o.Wrong, fmt.Sprintf("at %d s: %s", s, wrong))
			}
		}
	}
}

// say passes a person's word to the unit; it may be refused.
func (c *Course) say(u *pipeline.Unit, w *Said, o *Outcome) {
	cmd := w.Command
	if w.Until != 0 {
		cmd.Until = second(w.Until)
	}
	if err := u.Command(&cmd, second(w.At)); err != nil {
		o.Refused = append(o.Refused, err.Error())
	}
}
