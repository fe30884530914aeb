package reanalyse

import (
	"bufio"
	"bytes"
	"cmp"
	"compress/flate"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"sort"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/history"
)

// window is how much of event time is put in order at once, ns: it bounds what is held in memory to ten minutes of the
// station's samples. Own choice.
const window = 10 * station.Minute60

// ErrSegment is returned where the station's clock was set back meanwhile: no order of event time leads over that.
var ErrSegment = errors.New("the station's clock was set back since")

// packer is what packing needs beside a unit: a writer alone is a megabyte.
type packer struct {
	out   bytes.Buffer
	plain *bufio.Writer
	w     *flate.Writer
}

// packers are as many as may pack at once: a plant that comes back after a silence packs every station.
var packers = func() chan *packer {
	c := make(chan *packer, 2)
	for range cap(c) {
		w, _ := flate.NewWriter(io.Discard, flate.BestSpeed) // fails on unknown levels only
		c <- &packer{w: w, plain: bufio.NewWriterSize(io.Discard, 64<<10)}
	}
	return c
}()

// Pack writes a unit's state for a point.
func Pack(u *pipeline.Unit) ([]byte, error) {
	p := <-packers
	defer func() { packers <- p }()
	p.out.Reset()
	p.w.Reset(&p.out)
	p.plain.Reset(p.w)
	if err := errors.Join(u.Save(p.plain), p.plain.Flush(), p.w.Close()); err != nil {
		return nil, err
	}
	return bytes.Clone(p.out.Bytes()), nil
}

func unpack(state []byte) (*pipeline.Unit, error) {
	plain, err := io.ReadAll(flate.NewReader(bytes.NewReader(state)))
	if err != nil {
		return nil, fmt.Errorf("cannot read the state of a point: %w", err)
	}
	return pipeline.Restore(bytes.NewReader(plain))
}

// Late works a station's samples off once more from a point on, with those that came late in their places, up to a
// position of the log. The law: whatever came of the station since the point is put in order of event time, an earlier
// entry of the log before a later one, and goes through the engine that had seen nothing of the hole. So it concludes what it would
// have concluded had everything come in time.
//
// Alarms, people's words and ticks are left out: alarms were judged when they were due, and nobody is told of the past.
func Late(ctx context.Context, log Log, point *history.Point, late []history.Late, upTo uint64) (r history.Rebuilt, err error) {
	u, err := unpack(point.State)
	if err != nil {
		return r, err
	}
	b := &ordering{log: log, point: point, rows: late, late: make(map[place]bool, len(late)), unit: u, done: point.Floor}
	b.out = history.Rebuilt{Key: point.Key, Revision: Revision, Segment: point.Segment, UpTo: upTo}
	for i := range late {
		b.late[place{late[i].Position, late[i].Record}] = true
	}
	if fault := pipeline.Try(point.Key, "its late samples", func() { err = b.run(ctx, upTo) }); fault != nil {
		err = fault
	}
	return b.out, err
}

// place is a record of the log.
type place struct {
	position uint64
	record   int
}

// piece is a block at its place.
type piece struct {
	place
	arrival station.Instant
	block   station.Block
}

// ordering puts the samples of a station in order.
type ordering struct {
	log     Log
	point   *history.Point
	rows    []history.Late
	late    map[place]bool
	unit    *pipeline.Unit
	pending []piece         // from done on, in order of the log
	done    station.Instant // what lies before is worked off
	newest  station.Instant // of the records that came in time
	out     history.Rebuilt
}

func (b *ordering) run(ctx context.Context, upTo uint64) error {
	err := entries(ctx, b.log, b.point.Key.Partition(), b.point.Position-1, upTo, func(e *samplelog.Entry) error {
		for i := range e.Records {
			at := place{e.Position, i}
			if e.Records[i].Key != b.point.Key || e.Position == b.point.Position && i < b.point.Record {
				continue
			}
			if err := b.record(ctx, at, &e.Records[i]); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	end := b.newest
	for i := range b.rows {
		end = max(end, b.rows[i].Last)
	}
	if err := b.through(ctx, end+1); err != nil {
		return err
	}
	b.finish()
	if _, segment := b.unit.Behind(); segment != b.point.Segment {
		return ErrSegment
	}
	return nil
}

// record adds a record, in the log's order.
func (b *ordering) record(ctx context.Context, at place, r *station.Record) error {
	switch {
	case r.Epoch != nil:
		if r.Epoch.Revision == b.unit.Revision() {
			return nil
		}
		if err := b.through(ctx, b.newest+1); err != nil { // the plate changes behind what came before
			return err
		}
		b.unit.Epoch(r.Epoch, r.Arrival)
	case len(r.Blocks) > 0 && !b.late[at]:
		first := station.Instant(math.MaxInt64)
		for i := range r.Blocks {
			if n := r.Blocks[i].Len(); n > 0 {
				first, b.newest = min(first, r.Blocks[i].At(0)), max(b.newest, r.Blocks[i].At(n-1))
			}
		}
		if first != math.MaxInt64 {
			if err := b.through(ctx, first.Floor(window).Add(-window)); err != nil { // other channels may lag behind
				return err
			}
		}
		b.pending = add(b.pending, at, r, b.done)
	}
	return nil
}

// through works off everything before a time, a window after the other.
func (b *ordering) through(ctx context.Context, end station.Instant) error {
	for b.done < end {
		if err := ctx.Err(); err != nil {
			return err
		}
		edge := min(b.done.Floor(window).Add(window), end)
		if err := b.step(ctx, edge); err != nil {
			return err
		}
	}
	return nil
}

// step works off the samples from done to edge.
func (b *ordering) step(ctx context.Context, edge station.Instant) error {
	list, err := b.load(ctx, edge)
	if err != nil {
		return err
	}
	var rest []piece
	for _, x := range b.pending {
		if part, ok := within(&x.block, b.done, edge); ok {
			list = append(list, piece{x.place, x.arrival, part})
		}
		if part, ok := within(&x.block, edge, math.MaxInt64); ok {
			rest = append(rest, piece{x.place, x.arrival, part})
		}
	}
	b.pending, b.done = rest, edge
	slices.SortStableFunc(list, func(x, y piece) int {
		return cmp.Or(cmp.Compare(x.position, y.position), cmp.Compare(x.record, y.record))
	})
	for i := range list {
		b.unit.Push([]station.Block{list[i].block}, list[i].arrival)
	}
	for b.unit.Advance(math.MaxInt) {
	}
	b.collect()
	return nil
}

// load reads the late samples from done to edge out of the log.
func (b *ordering) load(ctx context.Context, edge station.Instant) (list []piece, err error) {
	first, last := uint64(math.MaxUint64), uint64(0)
	for i := range b.rows {
		if r := &b.rows[i]; r.First < edge && r.Last >= b.done {
			first, last = min(first, r.Position), max(last, r.Position)
		}
	}
	if last == 0 {
		return nil, nil
	}
	err = entries(ctx, b.log, b.point.Key.Partition(), first-1, last, func(e *samplelog.Entry) error {
		for i := range e.Records {
			at := place{e.Position, i}
			if e.Records[i].Key != b.point.Key || !b.late[at] {
				continue
			}
			for _, x := range add(nil, at, &e.Records[i], b.done) {
				if part, ok := within(&x.block, b.done, edge); ok {
					list = append(list, piece{at, x.arrival, part})
				}
			}
		}
		return nil
	})
	return list, err
}

// add appends copies of a record's samples from a time on.
func add(list []piece, at place, r *station.Record, from station.Instant) []piece {
	for i := range r.Blocks {
		if part, ok := within(&r.Blocks[i], from, math.MaxInt64); ok {
			part.Values, part.Times = slices.Clone(part.Values), slices.Clone(part.Times)
			list = append(list, piece{at, r.Arrival, part})
		}
	}
	return list
}

// within returns the samples of a block in [from, to), which share its memory; false where there are none.
func within(b *station.Block, from, to station.Instant) (station.Block, bool) {
	i, k := search(b, from), search(b, to)
	if k <= i {
		return station.Block{}, false
	}
	out := *b
	out.Start, out.Values = b.At(i), b.Values[i:k]
	if b.Times != nil {
		out.Times = b.Times[i:k]
	}
	return out, true
}

// search returns the first sample at a time or later.
func search(b *station.Block, at station.Instant) int {
	return sort.Search(b.Len(), func(i int) bool { return b.At(i) >= at })
}

// collect keeps what the unit has concluded.
func (b *ordering) collect() {
	o := &b.unit.Out
	b.out.Minutes = append(b.out.Minutes, o.Minutes...)
	b.out.Gaps = append(b.out.Gaps, o.Gaps...)
	b.out.Intervals = append(b.out.Intervals, o.Intervals...)
	b.out.Figures = append(b.out.Figures, o.Figures...)
	b.unit.Discard()
}

// finish sets which minutes are closed, and ends the open state where the engine stands.
func (b *ordering) finish() {
	o := &b.out
	for i := range o.Minutes {
		cover(o, o.Minutes[i].Start, o.Minutes[i].Start.Add(station.Minute60))
	}
	for _, g := range o.Gaps {
		cover(o, g.From, g.To)
	}
	to, segment := b.unit.Behind()
	if is, since, ok := b.unit.OpenState(); ok && since < to {
		o.Intervals = append(o.Intervals, station.Interval{State: is, From: since, To: to, Segment: segment})
	}
}

// cover widens what was worked off anew.
func cover(o *history.Rebuilt, from, to station.Instant) {
	if o.To == 0 || from < o.From {
		o.From = from
	}
	o.To = max(o.To, to)
}

// entries calls fn with the entries of a partition behind a position, up to another.
func entries(ctx context.Context, log Log, n int, from, last uint64, fn func(*samplelog.Entry) error) error {
	err := log.Read(ctx, n, from, func(e samplelog.Entry) error {
		if e.Position > last {
			return errEnd
		}
		if err := fn(&e); err != nil {
			return err
		}
		if e.Position == last {
			return errEnd
		}
		return nil
	})
	if err != nil && !errors.Is(err, errEnd) {
		return fmt.Errorf("cannot work off late samples of partition %d: %w", n, err)
	}
	return nil
}
