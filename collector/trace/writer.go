package trace

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"

	"strokewise/analyzer/station"
)

// Writer writes a trace in the usual units: kPa gauge, °C, L/min. What it writes, a
// Reader takes.
type Writer struct {
	w        *bufio.Writer
	channels []station.Channel
	line     []byte
	last     int64 // µs, of the row before
}

// NewWriter writes the header: time and the channels, each once and at least one.
func NewWriter(w io.Writer, channels ...station.Channel) (*Writer, error) {
	if len(channels) == 0 {
		return nil, fmt.Errorf("cannot write trace: it has no channel")
	}
	t := &Writer{w: bufio.NewWriter(w), channels: channels, last: -1}
	t.line = append(t.line, "time"...)
	var seen [station.NumChannels]bool
	for _, c := range channels {
		if c >= station.NumChannels || seen[c] {
			return nil, fmt.Errorf("cannot write trace: channel %s (%d) does not exist or occurs twice", c, c)
		}
		seen[c] = true
		t.line = append(append(t.line, ','), c.String()...)
	}
	return t, t.flush()
}

// Write writes a row: a value (SI) of each channel, NaN where there is no reading. Times
// are rounded to microseconds, must increase from row to row and not be before 1970.
func (t *Writer) Write(at station.Instant, values ...float64) error {
	if len(values) != len(t.channels) {
		return fmt.Errorf("cannot write trace: %d values for %d channels", len(values), len(t.channels))
	}
	us := int64(at.Add(station.Microsecond/2).Floor(station.Microsecond)) / station.Microsecond
	if us <= t.last || at < 0 || us >= maxSeconds*1e6 {
		return fmt.Errorf("cannot write trace: %s; expected times from 1970 to 2261 that increase by a microsecond or more", at)
	}
	t.line = appendUnix(t.line[:0], us)
	for i, v := range values {
		t.line = append(t.line, ',')
		if math.IsNaN(v) {
			continue
		}
		if v = plain(t.channels[i], v); math.Abs(v) > maxValue {
			return fmt.Errorf("cannot write trace: %s is %g at %s; expected at most 1e15", t.channels[i], v, at)
		}
		t.line = strconv.AppendFloat(t.line, v, 'f', -1, 64)
	}
	t.last = us
	return t.flush()
}

// appendUnix appends Unix seconds with six decimals.
func appendUnix(b []byte, us int64) []byte {
	b = strconv.AppendInt(b, us/1e6, 10)
	mark := len(b)
	b = strconv.AppendInt(b, 1e6+us%1e6, 10) // the leading 1 keeps the zeros and makes room for the dot
	b[mark] = '.'
	return b
}

// plain undoes Channel.SI with kPa.
func plain(c station.Channel, v float64) float64 {
	switch {
	case c.IsPressure():
		return v / 1e3
	case c == station.TankTemperature:
		return v - 273.15
	case c == station.InletFlow:
		return v * 60e3
	}
	return v
}

func (t *Writer) flush() error {
	if _, err := t.w.Write(append(t.line, '\n')); err != nil {
		return fmt.Errorf("cannot write trace: %w", err)
	}
	return nil
}

// Close writes what is buffered; it does not close what is beneath.
func (t *Writer) Close() error {
	if err := t.w.Flush(); err != nil {
		return fmt.Errorf("cannot write trace: %w", err)
	}
	return nil
}
