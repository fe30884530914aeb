package app

import (
	"time"

	"strokewise/collector/samplelog"
)

// mostArrivals bounds the entries whose way to the commit is timed, of those that wait for the same one.
const mostArrivals = 1 << 14

// came notes when the samples of an entry arrived.
func (p *partition) came(e *samplelog.Entry) {
	if p.timings == nil || len(p.arrived) >= mostArrivals {
		return
	}
	for i := range e.Records {
		if r := &e.Records[i]; len(r.Blocks) > 0 {
			p.arrived = append(p.arrived, r.Arrival)
			return
		}
	}
}

// timeCommit adds what the commit stored to the timings.
func (p *partition) timeCommit() {
	if len(p.arrived) == 0 {
		return
	}
	now := p.now()
	for _, t := range p.arrived {
		p.timings.Committed(time.Duration(now.Sub(t)))
	}
	p.arrived = p.arrived[:0]
}
