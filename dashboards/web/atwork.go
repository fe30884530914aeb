package web

import (
	"strconv"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

// noLockOut stands wherever people declare work, and wherever it is shown.
const noLockOut = "This is no lock-out and protects nobody: it watches, it holds nothing shut. Lock out first, by the site's procedure, by people who are allowed to; local codes govern."

// workView is who is declared at work on a station.
type workView struct {
	People  []workerView
	Caution string
}

// workerView is one declaration.
type workerView struct {
	Who, What, Until string
	Over             bool // its time is over by the newest reading
}

// atWork returns who is declared at work on a station, nil if nobody is.
func atWork(s *board.Station) *workView {
	if len(s.AtWork) == 0 {
		return nil
	}
	v := &workView{Caution: noLockOut}
	for _, p := range s.AtWork {
		v.People = append(v.People, workerView{p.Who, p.What, siteClock(s, p.Until), s.Status.At > p.Until})
	}
	return v
}

// siteClock returns a time by the site's clock where the plate knows it, else in UTC.
func siteClock(s *board.Station, t station.Instant) string {
	cal, err := station.ReadCalendar(s.Plate.Calendar)
	if s.Plate.Calendar == "" || err != nil {
		return clock(t.Floor(station.Second))
	}
	return cal.Date(t) + " " + cal.Clock(t) + " (" + cal.Zone + ")"
}

// workTimes are the minutes for which work can be declared with one button.
var workTimes = [...]int{60, 120, 240, 480}

// workForm returns the form that declares work on a station, and ends it.
func workForm(k station.Key, root string) *formView {
	f := &formView{Action: root + "station/" + path(k) + "/command", Label: "What you are working on, or whose work is ended and why", Caution: noLockOut}
	for _, m := range workTimes {
		f.Buttons = append(f.Buttons, buttonView{"at-work " + strconv.Itoa(m), "At work for " + strconv.Itoa(m/60) + " h"})
	}
	f.Buttons = append(f.Buttons, buttonView{"work-ended", "Work ended"})
	return f
}
