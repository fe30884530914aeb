package web

import "strokewise/analyzer/station"

// oneTank are the rows of the list after a shift by shared tank: what is stored in a tank is listed once.
type oneTank map[string]int

// add adds a charged station to the rows. One that shares its tank with a row goes into that, unless a person's word or an open
// supply makes it a case of its own.
func (t oneTank) add(rows []afterRow, p *station.Plate, r afterRow) []afterRow {
	if p.Tank == "" || r.Word != "" || r.Open {
		return append(rows, r)
	}
	tank := p.Key.Site + "/" + p.Tank
	i, listed := t[tank]
	if !listed {
		t[tank] = len(rows)
		return append(rows, r)
	}
	if first := &rows[i]; p.TankAt == "" { // it states the energy
		r.Station, r.People = join(r.Station, first.Station), append(r.People, first.People...)
		*first = r
	} else {
		first.Station, first.People = join(first.Station, r.Station), append(first.People, r.People...)
	}
	return rows
}
