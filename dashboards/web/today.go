package web

import (
	"context"
	"strconv"
	"time"

	"strokewise/analyzer/station"
)

// today sums up a station's minutes since the site's midnight; nil without a history.
func (s *site) today(ctx context.Context, k station.Key) ([]row, error) {
	if s.History == nil {
		return nil, nil
	}
	ctx, cancel := context.WithTimeout(ctx, queryTime)
	defer cancel()
	leave, err := s.queue(ctx)
	if err != nil {
		return nil, err
	}
	defer leave()
	zone := s.Zones[k.Site]
	if zone == nil {
		zone = time.UTC
	}
	now := s.Now()
	y, m, d := now.In(zone).Date()
	minutes, err := s.History.Minutes(ctx, k, station.InstantOf(time.Date(y, m, d, 0, 0, 0, 0, zone)), station.InstantOf(now.Add(time.Hour)))
	if err != nil {
		return nil, err
	}
	one, _ := s.Board.Get(k)
	return sums(minutes, silent(minutes, one.Today[station.Blind])), nil
}

// silent returns how many minutes of the day had no sample: those that are blind, ns, and stored as no minutes.
func silent(minutes []station.Minute, blind int64) int {
	for i := range minutes {
		blind -= minutes[i].StateNs[station.Blind]
	}
	return int(max(blind, 0) / station.Minute60)
}

// sums adds minutes up, beside which there are some without a sample. The bands are added too: the errors of minutes go together.
func sums(minutes []station.Minute, silent int) []row {
	if len(minutes) == 0 {
		const why = "no closed minute yet"
		return []row{{Name: "Strokes", Why: why}, {Name: "Inlet air", Why: why}, {Name: "Delivered air", Why: why}}
	}
	var t station.Minute
	strokes, uncounted, airless, revised, why := 0, 0, 0, 0, ""
	for i := range minutes {
		m := &minutes[i]
		if m.Revised {
			revised++
		}
		if m.StrokeMethod == station.MethodNone {
			uncounted++
		} else {
			strokes++
			t.StrokeMethod = m.StrokeMethod
		}
		t.Strokes += m.Strokes
		if m.AirReason != "" {
			airless, why = airless+1, m.AirReason
			continue
		}
		t.Inlet, t.InletLow, t.InletHigh = t.Inlet+m.Inlet, t.InletLow+m.InletLow, t.InletHigh+m.InletHigh
		t.Exhaust += m.Exhaust
		t.Delivered, t.DeliveredLow, t.DeliveredHigh = t.Delivered+m.Delivered, t.DeliveredLow+m.DeliveredLow, t.DeliveredHigh+m.DeliveredHigh
	}
	rows := []row{{Name: "Strokes", Value: strconv.FormatInt(t.Strokes, 10), How: how[t.StrokeMethod%station.NumMethods]}}
	if strokes == 0 {
		rows[0] = row{Name: "Strokes", Why: "strokes are not visible: no counter, and too few samples a second"}
	} else if uncounted > 0 {
		rows[0].How = join(rows[0].How, "without "+plural(uncounted, "minute")+" in which they could not be told")
	}
	if silent > 0 && strokes > 0 {
		rows[0].How = join(rows[0].How, "without "+plural(silent, "minute")+" in which no sample came")
	}
	if revised > 0 {
		rows[0].How = join(rows[0].How, plural(revised, "minute")+" rebuilt from samples that came late")
	}
	if airless == len(minutes) {
		return append(rows, row{Name: "Inlet air", Why: why}, row{Name: "Delivered air", Why: why})
	}
	in, out, drive := air("Inlet air", t.Inlet), air("Delivered air", t.Delivered), air("Drive air, part of it", t.Exhaust)
	in.Band, out.Band = band(t.InletLow, t.InletHigh), band(t.DeliveredLow, t.DeliveredHigh)
	if airless > 0 {
		in.How = "without " + plural(airless, "minute") + " of which it is unknown: " + why
	}
	if silent > 0 {
		in.How = join(in.How, "without "+plural(silent, "minute")+" in which no sample came")
	}
	if revised > 0 {
		in.How = join(in.How, plural(revised, "minute")+" rebuilt from samples that came late")
	}
	return append(append(rows, in, drive, out), room(minutes)...)
}

func band(low, high station.Microlitres) string {
	if low == 0 && high == 0 {
		return ""
	}
	return cubic(low) + " to " + cubic(high)
}
