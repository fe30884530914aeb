package web

import (
	"fmt"
	"math"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/rules"
)

// overviewView is the page of stations.
type overviewView struct {
	Root     string // leads to the first page
	Filling  string // how far the past has come
	Version  string
	At       string
	NotReady []string
	Count    string
	Some     bool        // there are stations
	Open     []countView // alarms by priority, highest first
	Listed   []openView  // those of them to go to, highest first; findings are left out
	More     int         // that are not listed
	Sites    []siteView
	Rig      bool // there is a virtual plant
}

type siteView struct {
	Name     string
	Headers  []headerView // those with an alarm
	Branches []branchView
}

type branchView struct {
	Name     string
	Stations []stationView
}

// stationView is one station in words.
type stationView struct {
	Name, Class string
	Key         string // site and station as they stand in addresses
	Line        *sparkView
	State       string // in words
	Since       string
	Reason      string
	Caution     string
	Figures     []figure
	Alarms      []alarmView
	Under       string // the alarm of its header that it stands under, with the header's address
	UnderKey    string
	AtWork      *workView // nil: nobody is declared at work

	key, header station.Key
	in          station.Reading
}

// draw gives each station its small line.
func (v *overviewView) draw(line func(station.Key, station.Reading) *sparkView) {
	for i := range v.Sites {
		for j := range v.Sites[i].Branches {
			list := v.Sites[i].Branches[j].Stations
			for k := range list {
				list[k].Line = line(list[k].key, list[k].in)
			}
		}
	}
}

// words says what a station does in each state.
var words = [station.NumStates]string{
	station.Blind:    "Blind: the sensors cannot be relied on",
	station.Off:      "Off: inlet and outlet read near atmosphere",
	station.Charging: "Charging: the outlet rises to set",
	station.Stroking: "Stroking: the piston works",
	station.Holding:  "Holding: the piston stands, outlet at set",
	station.Starved:  "Starved: outlet below set though the inlet is fed",
	station.Venting:  "Venting: the outlet falls fast",
	station.Residual: "Residual pressure: supply closed, outlet still charged",
}

// overview builds the page from stations in order of site, branch and name. now is the
// time at which it is made.
func overview(all []board.Station, notReady []string, now station.Instant, version string) overviewView {
	v := head(all, notReady, now, version)
	for i := range all {
		s := &all[i]
		n := len(v.Sites)
		if n == 0 || s.Plate.Key.Site != all[i-1].Plate.Key.Site {
			v.Sites = append(v.Sites, siteView{Name: s.Plate.Key.Site})
			n++
		}
		in := &v.Sites[n-1]
		b := len(in.Branches)
		if b == 0 || s.Plate.Branch != all[i-1].Plate.Branch {
			in.Branches = append(in.Branches, branchView{Name: s.Plate.Branch})
			b++
		}
		in.Branches[b-1].Stations = append(in.Branches[b-1].Stations, describe(s))
	}
	return v
}

// head builds what stands above the stations.
func head(all []board.Station, notReady []string, now station.Instant, version string) overviewView {
	v := overviewView{Version: version, At: clock(now), NotReady: notReady, Count: plural(len(all), "station"), Some: len(all) > 0}
	v.count(all)
	return v
}

// describe puts one station in words.
func describe(s *board.Station) stationView {
	v := stationView{Name: s.Plate.Key.Station, Key: path(s.Plate.Key), key: s.Plate.Key, in: s.Plate.Reading, header: s.Plate.HeaderKey(), Figures: figures(s), Alarms: alarms(s.Alarms)}
	v.condition(s)
	v.AtWork = atWork(s)
	for i := range v.Alarms {
		if v.Alarms[i].Caution == v.Caution {
			v.Caution = "" // said with the alarm
		}
	}
	return v
}

// condition says what the station does, since when, why, and what to mind.
func (v *stationView) condition(s *board.Station) {
	st := &s.Status
	state := st.State % station.NumStates
	switch {
	case s.Gone:
		v.Class, v.State = "silent", "No longer configured"
		v.Reason = "an alarm of it is open: it stays here until somebody closes it with its cause"
		v.Caution = rules.CautionSilent
	case s.Unwatched != nil:
		v.Class, v.State = "silent", capital(staleSince(s))
		v.Reason = "a fault of this program ended the watch over it (" + s.Unwatched.Why + "); treat it as unknown: its open alarms stay as they were"
		v.Caution = rules.CautionSilent
	case st.At == 0:
		v.Class, v.State, v.Reason = "silent", "Unknown", orElse(st.StateReason.In(s.Plate.Reading), "no samples yet")
		v.Caution = rules.CautionSilent
	case s.Stale():
		v.Class, v.State = "silent", "No data since "+clock(s.SilentSince)
		v.Reason = "last state: " + state.String()
		v.Caution = rules.CautionSilent
	default:
		v.Class, v.State = state.String(), words[state]
		v.Since = fmt.Sprintf("since %s (%s), read up to %s", clock(st.Since), span(st.At.Sub(st.Since)), clock(st.At))
		v.Reason, v.Caution = st.StateReason.In(s.Plate.Reading), caution(state)
		if s.SilentSince != 0 {
			v.Reason = join(v.Reason, "no change reported since "+clock(s.SilentSince))
		}
	}
}

// caution gives what a person must mind in states in which somebody may open the line.
func caution(s station.State) string {
	switch s {
	case station.Residual, station.Off, station.Venting:
		return rules.CautionStored
	case station.Blind:
		return rules.CautionSilent
	}
	return ""
}

// finite tells whether v can be shown as a number.
func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
