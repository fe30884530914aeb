package influx

import (
	"context"
	"fmt"

	"github.com/influxdata/influxdb-client-go/v2/api/write"

	"strokewise/dashboards/history"
)

// fate is what became of a row.
type fate uint8

const (
	unsent  fate = iota
	written      // the server has it
	bad          // the server refuses it for what it holds
	suspect      // refused alone, and the server does not say that it is for what it holds
)

// mostSuspects is how many points are tried alone before the server itself is doubted.
const mostSuspects = 4

// pass is one go at a batch. Points that are refused are found by halving.
type pass struct {
	e      *Exporter
	rows   []history.ExportRow
	points []*write.Point
	fates  []fate
	first  error // why the first bad row was refused
}

func (e *Exporter) newPass(rows []history.ExportRow) *pass {
	p := &pass{e: e, rows: rows, points: make([]*write.Point, len(rows)), fates: make([]fate, len(rows))}
	for i := range rows {
		p.points[i] = e.point(&rows[i])
	}
	return p
}

// run sends the batch and settles the fate of its rows, in order. It gives the answer that
// ended it before its end, nil if none did.
func (p *pass) run(ctx context.Context) *answer {
	if len(p.rows) == 0 {
		return nil
	}
	if a := p.try(ctx, 0, len(p.rows)); a != nil {
		return a
	}
	return p.judge(ctx)
}

// try sends the rows from to to, in halves where the server refuses one of them.
func (p *pass) try(ctx context.Context, from, to int) *answer {
	a := p.e.write(ctx, p.points[from:to])
	switch n := to - from; {
	case a.kind == taken:
		p.mark(from, to, written)
		return nil
	case a.kind != refused || ctx.Err() != nil:
		return &a
	case a.blames && (n == 1 || a.lost == n):
		p.mark(from, to, bad)
		p.note(a.err)
		return nil
	case n == 1:
		p.mark(from, to, suspect)
		p.note(a.err)
		return p.doubt(ctx)
	}
	mid := (from + to) / 2
	if a := p.try(ctx, from, mid); a != nil {
		return a
	}
	return p.try(ctx, mid, to)
}

func (p *pass) mark(from, to int, f fate) {
	for i := from; i < to; i++ {
		p.fates[i] = f
	}
}

func (p *pass) note(err error) {
	if p.first == nil {
		p.first = err
	}
}

// count gives the number of rows of a fate.
func (p *pass) count(f fate) int {
	n := 0
	for _, g := range p.fates {
		if g == f {
			n++
		}
	}
	return n
}

// doubt ends the search where the server seems to take no point at all: after some suspects
// it tries the newest.
func (p *pass) doubt(ctx context.Context) *answer {
	if p.count(suspect) != mostSuspects || p.count(written) > 0 {
		return nil
	}
	last := len(p.points) - 1
	switch a := p.e.write(ctx, p.points[last:]); a.kind {
	case taken:
		p.fates[last] = written
	case refused:
		return p.none()
	default:
		return &a
	}
	return nil
}

// none is the answer of a server that takes no point.
func (p *pass) none() *answer {
	return &answer{kind: setup, err: fmt.Errorf("%w; it takes no point at all: check url, org and bucket", p.first)}
}

// judge decides on suspects: where the server takes none, it may be the request, and the
// rows are kept; where it has taken another point, the suspect gets a second hearing, for
// the server may have come to its senses meanwhile.
func (p *pass) judge(ctx context.Context) *answer {
	if p.count(suspect) > 0 && p.count(written) == 0 {
		return p.none()
	}
	for i, f := range p.fates {
		if f != suspect {
			continue
		}
		switch a := p.e.write(ctx, p.points[i:i+1]); a.kind {
		case taken:
			p.fates[i] = written
		case refused:
			p.fates[i] = bad
		default:
			return &a
		}
	}
	if n := p.count(bad); n > 0 {
		p.e.sayRefused(p, n)
	}
	return nil
}

// decided gives the number of rows, from the first on, whose fate is settled, and how many
// of them are written.
func (p *pass) decided() (n, ok int) {
	for ; n < len(p.fates) && (p.fates[n] == written || p.fates[n] == bad); n++ {
		if p.fates[n] == written {
			ok++
		}
	}
	return n, ok
}

// write sends points in one request.
func (e *Exporter) write(ctx context.Context, points []*write.Point) answer {
	e.wire.status = 0
	err := e.api.WritePoint(ctx, points...)
	a := e.wire.answer(err)
	if a.kind != taken && ctx.Err() == nil {
		e.mu.Lock()
		e.figures.Failed++
		e.mu.Unlock()
	}
	return a
}
