package trace

import (
	"bytes"
	"fmt"
	"math"
	"strconv"

	"strokewise/analyzer/station"
	"strokewise/collector/decimal"
)

// maxValue bounds readings, in the column's unit.
const maxValue = 1e15

const numberExample = "a decimal number such as 612.4, or an empty cell where there is no reading"

// begin checks a row's number of cells and reads its time, wherever it stands.
func (r *Reader) begin(line []byte) (station.Instant, error) {
	if n := bytes.Count(line, []byte{','}) + 1; n != len(r.columns) {
		return 0, r.fail("", fmt.Sprintf("the line has %d cells", n),
			fmt.Sprintf("%d, as the header has, with a dot in decimal numbers, such as 612.4", len(r.columns)))
	}
	return r.time(line)
}

// row reads the readings of a row of the given time.
func (r *Reader) row(line []byte, t station.Instant) error {
	rest := line
	for i := range r.columns {
		c := &r.columns[i]
		var cell []byte
		cell, rest, _ = cut(rest)
		if c.time || len(cell) == 0 {
			continue
		}
		v, err := r.value(c, cell)
		if err != nil {
			return err
		}
		if err := r.same(c, t, v); err != nil {
			return err
		}
		b := &r.blocks[c.channel]
		b.Times, b.Values = append(b.Times, t), append(b.Values, v)
	}
	return nil
}

// same refuses a reading that bears the time of the one before it and differs from it: as a
// rule the recorder rounded its times, and most readings would get lost as duplicates.
func (r *Reader) same(c *column, t station.Instant, v float64) error {
	l := &r.latest[c.channel]
	if l.any && l.at == t && l.v != v {
		return r.fail(c.name, fmt.Sprintf("%s occurs twice with different readings", t),
			"times to the microsecond, such as 1767225600.00 and then 1767225600.01; record them unrounded, or leave out one of the rows")
	}
	*l = reading{t, v, true}
	return nil
}

// value reads a reading and converts it to SI.
func (r *Reader) value(c *column, cell []byte) (float64, error) {
	v, n, ok := decimal.Parse(cell)
	if !ok || n != len(cell) {
		v, ok = odd(cell)
	}
	switch {
	case !ok:
		return 0, r.fail(c.name, fmt.Sprintf("%.40q is no number", cell), numberExample)
	case math.IsNaN(v) || math.Abs(v) > maxValue:
		return 0, r.fail(c.name, fmt.Sprintf("%.40q is not finite, or beyond 1e15", cell), numberExample)
	}
	v = c.channel.SI(v, c.unit)
	if c.abs {
		v -= float64(r.ambient)
	}
	return v, nil
}

// odd reads numbers that JSON's grammar does not have: +5, .5, 007; and, so that the
// message names the right fault, NaN and the infinities.
func odd(cell []byte) (float64, bool) {
	v, err := strconv.ParseFloat(string(cell), 64)
	if bytes.ContainsAny(cell, "xX_pP") {
		return 0, false
	}
	return v, err == nil
}

// cut gives the first cell, trimmed, and the rest.
func cut(line []byte) (cell, rest []byte, more bool) {
	i := bytes.IndexByte(line, ',')
	if i < 0 {
		return trim(line), nil, false
	}
	return trim(line[:i]), line[i+1:], true
}

// trim takes spaces and quotes off a cell.
func trim(b []byte) []byte {
	if n := len(b); n > 0 && (b[0] <= ' ' || b[0] == '"' || b[n-1] <= ' ' || b[n-1] == '"') {
		return bytes.Trim(b, " \t\"")
	}
	return b
}
