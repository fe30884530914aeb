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
	"os"

	"strokewise/analyzer/station"
)

// chunkRows is how many rows Next returns at most.
const chunkRows = 1024

// maxLine bounds a line, bytes.
const maxLine = 64 << 10

// Reader reads a trace. It is not safe for concurrent use.
type Reader struct {
	name    string
	r       *bufio.Reader
	closers []io.Closer
	columns []column
	timeAt  int
	line    int
	held    []byte // a row that the last call of Next left to the next one, nil: none
	first   int    // line of the first row of the last call's blocks
	ambient station.Absolute
	latest  [station.NumChannels]reading
	blocks  [station.NumChannels]station.Block
	out     []station.Block // what Next returns, reused
}

// reading is a channel's reading that was read last.
type reading struct {
	at  station.Instant
	v   float64
	any bool
}

// Open opens a trace file. Absolute pressures are converted with the given ambient
// pressure, zero: the standard one.
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
			return nil, r.broken(err)
		}
		r.r, r.closers = bufio.NewReaderSize(z, maxLine), []io.Closer{z}
	}
	if bom, err := r.r.Peek(3); err == nil && string(bom) == "\ufeff" {
		r.r.Discard(3)
	}
	if err := r.header(); err != nil {
		return nil, err
	}
	return r, nil
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

// next gives the next line that is not empty, without its end; valid until the next call.
func (r *Reader) next() ([]byte, error) {
	for {
		line, err := r.r.ReadSlice('\n')
		r.line++
		if errors.Is(err, bufio.ErrBufferFull) {
			return nil, r.fail("", "the line is too long", fmt.Sprintf("at most %d bytes, such as 1767225600.01,612.4,905.2,17", maxLine))
		}
		if err != nil && err != io.EOF {
			return nil, r.broken(err)
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

// Next returns the next rows, at most 1024, as a block of each channel that has readings in
// them (SI, stamped by the device), and io.EOF behind the last row. Rows may stand in any
// order of time and more than once: the rows of one call have increasing times, and a row
// whose time does not increase begins the next call's. So whoever handles each call's blocks
// before the next call finds every row as late as if rows came singly. The blocks and the
// slice are valid until the next call. A fault is an *Error.
func (r *Reader) Next() ([]station.Block, error) {
	for i := range r.blocks {
		b := &r.blocks[i]
		b.Channel, b.Stamp, b.Times, b.Values = station.Channel(i), station.StampDevice, b.Times[:0], b.Values[:0]
	}
	rows, err := r.rows()
	if err != nil {
		return nil, err
	}
	if rows == 0 {
		return nil, io.EOF
	}
	r.out = r.out[:0]
	for _, c := range r.columns {
		if b := &r.blocks[c.channel]; !c.time && len(b.Values) > 0 {
			b.Start = b.Times[0]
			r.out = append(r.out, *b)
		}
	}
	return r.out, nil
}

// rows reads rows into the blocks while their times increase, and returns how many.
func (r *Reader) rows() (int, error) {
	var last station.Instant
	for n := range chunkRows {
		line, err := r.held, error(nil)
		if r.held = nil; line == nil {
			line, err = r.next()
		}
		if err == io.EOF {
			return n, nil
		}
		if err != nil {
			return 0, err
		}
		t, err := r.begin(line)
		if err != nil {
			return 0, err
		}
		if n == 0 {
			r.first = r.line
		} else if t <= last {
			r.held = line
			return n, nil
		}
		if err := r.row(line, t); err != nil {
			return 0, err
		}
		last = t
	}
	return chunkRows, nil
}

// Line returns the line in which the first row of the last call of Next stands.
func (r *Reader) Line() int { return r.first }
