// Package trace reads and writes recorded traces: CSV, optionally gzipped, whose header
// names the columns time and channels in any order, with the unit in square brackets
// where it is not the usual one. Reading takes the same memory however long the trace is.
package trace

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/decimal"
)

// chunkRows is how many rows Next gives at most.
const chunkRows = 1024

// maxLine bounds a line, bytes.
const maxLine = 64 << 10

const maxValue = 1e15

// Error is a fault of a trace: where, what, and what was expected.
type Error struct {
	File     string
	Line     int
	Column   string // "" where the whole line is meant
	Problem  string
	Expected string
}

// Error gives it in one line.
func (e *Error) Error() string {
	where := fmt.Sprintf("%s:%d", e.File, e.Line)
	if e.Column != "" {
		where += ": column " + e.Column
	}
	return fmt.Sprintf("cannot read trace %s: %s; expected %s", where, e.Problem, e.Expected)
}

// column tells what a column holds.
type column struct {
	name    string
	time    bool
	channel station.Channel
	unit    float64 // Pa of one unit, pressures only
	abs     bool    // absolute pressure
}

// Reader reads a trace.
type Reader struct {
	name    string
	r       *bufio.Reader
	closers []io.Closer
	columns []column
	timeAt  int
	line    int
	last    station.Instant
	started bool
	ambient station.Absolute
	blocks  [station.NumChannels]station.Block
}

// Open opens a trace file.
func Open(path string, ambient station.Absolute) (*Reader, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read trace: %w", err)
	}
	r, err := NewReader(f, path, ambient)
	if err != nil {
		f.Close()
		return nil, err
	}
	r.closers = append(r.closers, f)
	return r, nil
}

// NewReader reads the header of a trace, gzipped or not. Absolute pressures are converted
// with the given ambient pressure, zero: the standard one.
func NewReader(src io.Reader, name string, ambient station.Absolute) (*Reader, error) {
	r := &Reader{name: name, r: bufio.NewReaderSize(src, maxLine), ambient: ambient, timeAt: -1}
	if ambient <= 0 {
		r.ambient = station.StandardAtmosphere
	}
	if magic, err := r.r.Peek(2); err == nil && magic[0] == 0x1f && magic[1] == 0x8b {
		z, err := gzip.NewReader(r.r)
		if err != nil {
			return nil, fmt.Errorf("cannot read trace %s: %w", name, err)
		}
		r.r, r.closers = bufio.NewReaderSize(z, maxLine), []io.Closer{z}
	}
	if bom, err := r.r.Peek(3); err == nil && string(bom) == "\ufeff" {
		r.r.Discard(3)
	}
	return r, r.header()
}

// Close closes what Open opened.
func (r *Reader) Close() error {
	var errs []error
	for _, c := range r.closers {
		errs = append(errs, c.Close())
	}
	r.closers = nil
	return errors.Join(errs...)
}

// Channels lists the trace's channels in the order of its columns.
func (r *Reader) Channels() []station.Channel {
	var out []station.Channel
	for _, c := range r.columns {
		if !c.time {
			out = append(out, c.channel)
		}
	}
	return out
}

func (r *Reader) fail(column, problem, expected string) error {
	return &Error{File: r.name, Line: r.line, Column: column, Problem: problem, Expected: expected}
}

const headerExample = "a header such as time,inlet_pressure,outlet_pressure,cycles"

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
		return r.fail("", "the columns are separated by semicolons", "commas, and a dot in decimal numbers")
	}
	for i, cell := range strings.Split(string(line), ",") {
		c, err := r.column(strings.Trim(strings.TrimSpace(cell), `"`))
		if err != nil {
			return err
		}
		for _, o := range r.columns {
			if o.time == c.time && (c.time || o.channel == c.channel) {
				return r.fail(c.name, "occurs twice", "each column once")
			}
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

// column reads a column's name and unit: "inlet_pressure[bar abs]".
func (r *Reader) column(cell string) (column, error) {
	c := column{name: cell, unit: 1e3}
	base, unit, hasUnit := strings.Cut(cell, "[")
	base = strings.TrimSpace(base)
	if base == "time" && !hasUnit {
		c.time = true
		return c, nil
	}
	ch, ok := station.ParseChannel(base)
	if !ok {
		return c, r.fail(cell, "there is no such channel", "time and some of "+strings.Join(station.ChannelNames(), ", "))
	}
	c.channel = ch
	if !hasUnit {
		return c, nil
	}
	unit, closed := strings.CutSuffix(strings.TrimSpace(unit), "]")
	if unit, c.abs = strings.CutSuffix(unit, " abs"); !closed || !ch.IsPressure() {
		return c, r.fail(cell, "the unit is not understood", "a pressure's unit in square brackets, such as inlet_pressure[bar] or inlet_pressure[kPa abs]")
	}
	if c.unit, ok = station.PressureUnit(strings.TrimSpace(unit)); !ok {
		return c, r.fail(cell, "the unit is unknown", "one of "+station.PressureUnits())
	}
	return c, nil
}

// next gives the next line that is not empty, without its end; valid until the next call.
func (r *Reader) next() ([]byte, error) {
	for {
		line, err := r.r.ReadSlice('\n')
		r.line++
		if errors.Is(err, bufio.ErrBufferFull) {
			return nil, r.fail("", "the line is too long", fmt.Sprintf("at most %d bytes", maxLine))
		}
		if err != nil && err != io.EOF {
			return nil, fmt.Errorf("cannot read trace %s:%d: %w", r.name, r.line, err)
		}
		line = bytes.TrimRight(line, "\r\n \t")
		if len(line) > 0 {
			return line, nil
		}
		if err == io.EOF {
			return nil, io.EOF
		}
	}
}

// Next gives the next rows, at most about a thousand, as a block of each channel that has
// readings in them, and io.EOF behind the last. The blocks are valid until the next call.
func (r *Reader) Next() ([]station.Block, error) {
	for i := range r.blocks {
		b := &r.blocks[i]
		b.Channel, b.Stamp, b.Times, b.Values = station.Channel(i), station.StampDevice, b.Times[:0], b.Values[:0]
	}
	rows := 0
	for ; rows < chunkRows; rows++ {
		line, err := r.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
		if err := r.row(line); err != nil {
			return nil, err
		}
	}
	if rows == 0 {
		return nil, io.EOF
	}
	out := make([]station.Block, 0, len(r.columns)-1)
	for _, c := range r.columns {
		if b := &r.blocks[c.channel]; !c.time && len(b.Values) > 0 {
			b.Start = b.Times[0]
			out = append(out, *b)
		}
	}
	return out, nil
}

// row reads one row. The time is read first, wherever it stands.
func (r *Reader) row(line []byte) error {
	t, err := r.time(line)
	if err != nil {
		return err
	}
	rest := line
	for i := range r.columns {
		c := &r.columns[i]
		cell, after, more := cut(rest)
		if more != (i < len(r.columns)-1) {
			return r.fail("", fmt.Sprintf("the line has %d cells", bytes.Count(line, []byte{','})+1), fmt.Sprintf("%d, as the header has", len(r.columns)))
		}
		rest = after
		if c.time || len(cell) == 0 {
			continue
		}
		v, n, ok := decimal.Parse(cell)
		if !ok || n != len(cell) {
			if v, ok = odd(cell); !ok {
				return r.fail(c.name, fmt.Sprintf("%.40q is no number", cell), "a decimal number such as 612.4, or an empty cell where there is no reading")
			}
		}
		if math.IsNaN(v) || math.Abs(v) > maxValue {
			return r.fail(c.name, fmt.Sprintf("%.40q is not finite, or beyond 1e15", cell), "a number, or an empty cell where there is no reading")
		}
		v = c.channel.SI(v, c.unit)
		if c.abs {
			v -= float64(r.ambient)
		}
		b := &r.blocks[c.channel]
		b.Times, b.Values = append(b.Times, t), append(b.Values, v)
	}
	return nil
}

// cut gives the first cell, trimmed, and the rest.
func cut(line []byte) (cell, rest []byte, more bool) {
	i := bytes.IndexByte(line, ',')
	if i < 0 {
		return trim(line), nil, false
	}
	return trim(line[:i]), line[i+1:], true
}

func trim(b []byte) []byte {
	if n := len(b); n > 0 && (b[0] == ' ' || b[0] == '"' || b[n-1] == ' ' || b[n-1] == '"') {
		return bytes.Trim(b, " \"")
	}
	return b
}

// odd reads numbers that JSON's grammar does not have: +5, .5, 007.
func odd(cell []byte) (float64, bool) {
	for _, c := range cell {
		if (c < '0' || c > '9') && !strings.ContainsRune("+-.eE", rune(c)) {
			return 0, false
		}
	}
	v, err := strconv.ParseFloat(string(cell), 64)
	return v, err == nil
}

// time reads the row's time and checks that it goes on.
func (r *Reader) time(line []byte) (station.Instant, error) {
	rest := line
	var cell []byte
	for range r.timeAt + 1 {
		cell, rest, _ = cut(rest)
	}
	t, ok := seconds(cell)
	if !ok {
		if t, ok = stamp(cell); !ok {
			return 0, r.fail("time", fmt.Sprintf("%.40q is no time", cell), "Unix seconds such as 1767225600.01, or RFC 3339 such as 2026-01-01T06:00:00.01Z")
		}
	}
	if r.started && t <= r.last {
		return 0, r.fail("time", fmt.Sprintf("%s is not after %s, the row before", t, r.last), "times that increase; cut the trace where the clock was set")
	}
	r.last, r.started = t, true
	return t, nil
}

// seconds reads Unix seconds exactly, rounded to microseconds.
func seconds(b []byte) (station.Instant, bool) {
	var n int64
	i := 0
	for ; i < len(b) && b[i]-'0' < 10; i++ {
		if i > 9 { // beyond the year 2286
			return 0, false
		}
		n = n*10 + int64(b[i]-'0')
	}
	if i == 0 {
		return 0, false
	}
	n *= 1e6
	if i == len(b) {
		return station.Instant(n * 1e3), true
	}
	if b[i] != '.' {
		return 0, false
	}
	frac, scale := int64(0), int64(1e6)
	for k, c := range b[i+1:] {
		if c -= '0'; c > 9 {
			return 0, false
		}
		switch {
		case k < 6:
			scale /= 10
			frac += int64(c) * scale
		case k == 6 && c >= 5:
			frac++
		}
	}
	return station.Instant((n + frac) * 1e3), true
}

func stamp(b []byte) (station.Instant, bool) {
	if len(b) < 20 || len(b) > 40 {
		return 0, false
	}
	t, err := time.Parse(time.RFC3339Nano, string(b))
	if err != nil || t.Year() < 1970 || t.Year() > 2261 {
		return 0, false
	}
	return station.InstantOf(t.Round(time.Microsecond)), true
}
