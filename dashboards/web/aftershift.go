package web

import (
	"net/http"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// afterView is the list for the end of a shift: what is still charged, what cannot be
// known, what reads as empty, and what is in service.
type afterView struct {
	Root, Version    string
	At, Limit        string
	Problem          string
	Caution, Silent  string
	LockOut          string
	AtWork           []afterRow // stations at which people are declared at work
	Charged, Unknown []afterRow
	Below, InService []afterRow
	NotReady         []string
	Days             []nightView
}

// afterRow is one station of the list.
type afterRow struct {
	Station, Link string
	Pressure      string // outlet, with unit
	Energy        string // stored, with unit
	Since         string // of the shutdown, and how it was told
	Below         string // since when the outlet reads below the limit
	Open          bool   // the supply is open all the same
	Read          string // time of the newest reading
	Why           string // unknown
	Word          string // a person's
	People        []workerView
	Not           string // why the word does not hold
}

// lot is where a station belongs in the list.
type lot uint8

const (
	inService lot = iota
	stillCharged
	notKnown
	readsBelow
)

// after tells how a station stands after the shift. Whatever is not a plain reading of a
// sensor that sees the tank is not known.
func after(s *board.Station, at station.Instant) (st lot, why string) {
	now := &s.Status
	_, over := rules.AfterShift(&s.Plate, at)
	shut := over || now.ShutdownAt != 0 || now.State == station.Off || now.State == station.Residual || now.State == station.Venting
	switch {
	case s.Gone:
		return notKnown, noLongerConfigured + "; still open when it was removed: " + listed(s.Alarms) + ". It stays here until somebody closes it with its cause"
	case s.Unwatched != nil:
		return notKnown, staleSince(s)
	case now.At == 0:
		return notKnown, orElse(now.StateReason.In(s.Plate.Reading), "no samples yet")
	case s.Stale():
		return notKnown, staleSince(s)
	case !shut && now.State == station.Blind:
		return notKnown, orElse(now.StateReason.In(s.Plate.Reading), "the sensors cannot be relied on")
	case !shut:
		return inService, ""
	case !now.Outlet.Known() || !finite(now.Outlet.Value):
		return notKnown, orElse(now.Outlet.Reason, "no reading of the outlet")
	case now.Outlet.Value > rules.ChargedMin:
		return stillCharged, ""
	case s.Plate.Sensor == station.AtBranch:
		return notKnown, "the outlet sensor is behind the regulator and does not see the tank"
	case doubted(s):
		return notKnown, "the reading is below the limit, but no sensor saw it fall: the alarm pressure-left is still open"
	}
	return readsBelow, ""
}

// noLongerConfigured is why nothing is known of a station any more.
const noLongerConfigured = "no longer configured"

// listed names the alarms of a list.
func listed(list []board.Alarm) (text string) {
	for i := range list {
		text = join(text, list[i].Transition.Alarm)
	}
	return text
}

// doubted tells whether the alarm on pressure left does not believe the reading.
func doubted(s *board.Station) bool {
	for i := range s.Alarms {
		if a := &s.Alarms[i]; a.Transition.Alarm == rules.PressureLeft && a.State != rules.ReturnedUnacknowledged {
			return true
		}
	}
	return false
}

// afterShift sorts the stations into the list.
func afterShift(all []board.Station, vented map[string]history.Act, at station.Instant) afterView {
	v := afterView{Caution: rules.CautionStored, Silent: rules.CautionSilent, Limit: readBy(all).Gauge(rules.ChargedMin)}
	tanks := oneTank{}
	for i := range all {
		s := &all[i]
		st, why := after(s, at)
		r := afterLine(s, why, at)
		if w := atWork(s); w != nil {
			r.People = w.People
			v.AtWork, v.LockOut = append(v.AtWork, r), w.Caution
		}
		if a, ok := vented[history.Target(s.Plate.Key, "")]; ok && told(s, at) != 0 && a.At >= told(s, at) {
			r.Word = "vented, says " + a.Who + " at " + clock(a.At.Floor(station.Second)) + ": " + a.Detail
			r.Not = notDone(a.Outcome)
		}
		switch st {
		case stillCharged:
			v.Charged = tanks.add(v.Charged, &s.Plate, r)
		case notKnown:
			v.Unknown = append(v.Unknown, r)
		case readsBelow:
			v.Below = append(v.Below, r)
		default:
			v.InService = append(v.InService, r)
		}
	}
	return v
}

// readBy returns the unit in which all stations are read, kPa where they differ.
func readBy(all []board.Station) (in station.Reading) {
	for i := range all {
		switch r := all[i].Plate.Reading; {
		case i == 0:
			in = r
		case r != in:
			return station.ReadKPa
		}
	}
	return in
}

// told returns when the station was shut down, by its engine or else by the calendar; 0: it is not.
func told(s *board.Station, at station.Instant) station.Instant {
	if s.Status.ShutdownAt != 0 {
		return s.Status.ShutdownAt
	}
	end, ok := rules.AfterShift(&s.Plate, at)
	if !ok {
		return 0
	}
	return end
}

func afterLine(s *board.Station, why string, at station.Instant) afterRow {
	now := &s.Status
	r := afterRow{Station: s.Plate.Key.String(), Link: path(s.Plate.Key), Why: why}
	if now.At != 0 {
		r.Read = clock(now.At.Floor(station.Second))
	}
	switch {
	case now.Outlet.Known() && finite(now.Outlet.Value):
		r.Pressure = s.Plate.Reading.Gauge(now.Outlet.Value)
	case now.At != 0 && finite(float64(now.OutletLastSeen)):
		r.Pressure = "last seen at " + s.Plate.Reading.Gauge(float64(now.OutletLastSeen))
	}
	if e := &now.Estimates[station.StoredEnergy]; e.Known() && finite(e.Value) {
		r.Energy = "about " + number(e.Value/1e3, 1) + " kJ"
	} else {
		r.Energy = "unknown" + map[bool]string{true: ": " + e.Reason}[e.Reason != ""]
	}
	switch {
	case now.ShutdownAt != 0:
		r.Since = clock(now.ShutdownAt.Floor(station.Second))
		if now.ShutdownBy != station.NoShutdown {
			r.Since += ", by the " + now.ShutdownBy.String()
		}
	case told(s, at) != 0:
		r.Since = clock(told(s, at)) + ", the end of the shift by the calendar"
		r.Open = now.State.Fed() && !s.Stale()
	case now.Since != 0:
		r.Since = clock(now.Since.Floor(station.Second))
	}
	if s.Below != 0 {
		r.Below = clock(s.Below.Floor(station.Second))
	}
	return r
}

// afterShift shows the list.
func (s *site) afterShift(w http.ResponseWriter, r *http.Request) {
	vented, err := s.latest(r.Context(), "vented")
	now := station.InstantOf(s.Now())
	v := afterShift(s.Board.All(), vented, now)
	v.Days = s.nights(r.Context(), s.Board.Configured(), now)
	if err != nil {
		v.Problem = err.Error()
	}
	v.Version, v.At, v.NotReady = s.Version, clock(station.InstantOf(s.Now())), reasons(s.ready())
	s.render(w, "aftershift.html", v)
}
