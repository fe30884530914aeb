package trace

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"

	"strokewise/analyzer/station"
)

// Writer writes a trace in the usual units: kPa gauge, °C, L/min.
type Writer struct {
	w        *bufio.Writer
	channels []station.Channel
	line     []byte
}

// NewWriter writes the header.
func NewWriter(w io.Writer, channels ...station.Channel) (*Writer, error) {
	t := &Writer{w: bufio.NewWriter(w), channels: channels}
	t.line = append(t.line, "time"...)
	for _, c := range channels {
		t.line = append(append(t.line, ','), c.String()...)
	}
	return t, t.flush()
}

// Write writes a row: a value (SI) of each channel, NaN where there is no reading.
func (t *Writer) Write(at station.Instant, values ...float64) error {
	if len(values) != len(t.channels) {
		return fmt.Errorf("cannot write trace: %d values for %d channels", len(values), len(t.channels))
	}
	us := int64(at) / station.Microsecond
	t.line = strconv.AppendInt(t.line[:0], us/1e6, 10)
	t.line = fmt.Appendf(t.line, ".%06d", us%1e6)
	for i, v := range values {
		t.line = append(t.line, ',')
		if !math.IsNaN(v) {
			t.line = strconv.AppendFloat(t.line, plain(t.channels[i], v), 'f', -1, 64)
		}
	}
	return t.flush()
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

// Close writes what is buffered.
func (t *Writer) Close() error {
	if err := t.w.Flush(); err != nil {
		return fmt.Errorf("cannot write trace: %w", err)
	}
	return nil
}
