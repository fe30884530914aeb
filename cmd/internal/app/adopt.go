package app

import (
	"cmp"
	"slices"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
)

// adopt sets the alarms to what the history has of them, once, before the first entry whose
// conclusions are not stored yet. Worked off from a snapshot the units agree with it. Units
// that were rebuilt from a log that begins later than their alarms do not: without it a start
// would end alarms, or lose who acknowledged them.
func (p *partition) adopt(e *samplelog.Entry) {
	if p.adopted || len(e.Records) == 0 {
		return
	}
	p.adoptAll(e.Records[0].Arrival)
}

// adoptAll makes the units that open alarms or declared work of the history belong to, and sets the alarms of
// all units.
func (p *partition) adoptAll(at station.Instant) {
	p.adopted = true
	for _, k := range p.open() {
		if p.units[k] == nil {
			plate, revision := p.begin(k)
			p.recall(p.make(k, plate, revision), at)
		}
	}
	for _, u := range p.ordered {
		p.safe(u, "its alarms", nil, func() {
			u.Adopt(transitionsOf(p.catalog.alarms[u.key]))
			p.recallWork(u, at)
			if u.held == nil {
				u.WatchAgain(at)
			}
		})
	}
	p.unraised = true // what stands already is not raised again
}

// open lists the stations of the partition that had open alarms at the start, or people at work.
func (p *partition) open() []station.Key {
	var out []station.Key
	add := func(k station.Key, n int) {
		if _, header := k.Header(); !header && k.Partition() == p.number && n > 0 {
			out = append(out, k)
		}
	}
	for k, list := range p.catalog.alarms {
		add(k, len(list))
	}
	for k, list := range p.catalog.atWork {
		add(k, len(list))
	}
	slices.SortFunc(out, func(a, b station.Key) int {
		return cmp.Or(cmp.Compare(a.Site, b.Site), cmp.Compare(a.Station, b.Station))
	})
	return slices.Compact(out)
}

// begin returns the plate data of a station that has no unit. Of a station that is no longer
// configured only its alarms are known.
func (p *partition) begin(k station.Key) (station.Plate, string) {
	if s, ok := p.catalog.stations[k]; ok {
		return s.Plate, s.Revision
	}
	plate := station.Plate{Key: k}
	if list := p.catalog.alarms[k]; len(list) > 0 {
		plate.Branch = list[0].Transition.Branch
	}
	return plate, ""
}
