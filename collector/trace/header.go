package trace

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"strokewise/analyzer/station"
)

const headerExample = "a header such as time,inlet_pressure,outlet_pressure,cycles"

// column tells what a column holds.
type column struct {
	name    string
	time    bool
	channel station.Channel
	unit    float64 // Pa of one unit, pressures only
	abs     bool    // absolute pressure
}

// header reads the first line.
func (r *Reader) header() error {
	line, err := r.next()
	if err == io.EOF {
		r.line = 1
		return r.fail("", "the file is empty", headerExample)
	}
	if err != nil {
		return err
	}
	if bytes.Count(line, []byte{';'}) > bytes.Count(line, []byte{','}) {
		return r.fail("", "the columns are separated by semicolons", "commas, and a dot in decimal numbers, as in time,inlet_pressure and 1767225600.01,612.4")
	}
	for i, cell := range strings.Split(string(line), ",") {
		c, err := r.column(strings.Trim(strings.TrimSpace(cell), `"`))
		if err != nil {
			return err
		}
		if r.has(c) {
			return r.fail(c.name, "occurs twice (units do not tell columns apart)", "each column once, as in "+headerExample)
		}
		if c.time {
			r.timeAt = i
		}
		r.columns = append(r.columns, c)
	}
	if r.timeAt < 0 {
		return r.fail("", "there is no column time", headerExample)
	}
	if len(r.columns) < 2 {
		return r.fail("", "there is no column beside time", headerExample)
	}
	return nil
}

func (r *Reader) has(c column) bool {
	for _, o := range r.columns {
		if o.time == c.time && (c.time || o.channel == c.channel) {
			return true
		}
	}
	return false
}

// column reads a column's name and unit: "inlet_pressure[bar abs]".
func (r *Reader) column(cell string) (column, error) {
	c := column{name: cell, unit: 1e3}
	if cell == "" {
		return c, r.fail("", fmt.Sprintf("column %d has no name", len(r.columns)+1), headerExample)
	}
	base, unit, hasUnit := strings.Cut(cell, "[")
	base = strings.TrimSpace(base)
	if base == "time" && !hasUnit {
		c.time = true
		return c, nil
	}
	ch, ok := station.ParseChannel(base)
	if !ok {
		return c, r.fail(cell, "there is no such channel",
			"time and some of "+strings.Join(station.ChannelNames(), ", ")+", as in "+headerExample)
	}
	c.channel = ch
	if !hasUnit {
		return c, nil
	}
	if !ch.IsPressure() {
		return c, r.fail(cell, "only pressures may name a unit", "counts, 0 or 1, °C and L/min without a unit, as in "+ch.String())
	}
	unit, closed := strings.CutSuffix(strings.TrimSpace(unit), "]")
	if !closed {
		return c, r.fail(cell, "the unit is not closed", "a unit in square brackets, such as "+ch.String()+"[bar] or "+ch.String()+"[kPa abs]")
	}
	unit, c.abs = strings.CutSuffix(strings.TrimSpace(unit), " abs")
	if c.unit, ok = station.PressureUnit(strings.TrimSpace(unit)); !ok {
		return c, r.fail(cell, "the unit is unknown", "one of "+station.PressureUnits()+
			`, followed by " abs" where the pressure is absolute, such as `+ch.String()+"[bar] or "+ch.String()+"[kPa abs]")
	}
	return c, nil
}
