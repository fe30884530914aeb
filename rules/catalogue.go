package rules

import (
	"embed"

	"strokewise/analyzer/station"
)

// Names of the alarms that code refers to.
const (
	SupplyUndersized = "supply-undersized"
	OutletLeak       = "outlet-leak"
	OutletCollapse   = "outlet-collapse"
	OutletLow        = "outlet-low"
	PressureLeft     = "pressure-left"
	PressureReturned = "pressure-returned"
	OverPressure     = "over-pressure"
	SignalLost       = "signal-lost"

	StationNotWatched = "station-unwatched"
)

// Defaults of the limits that a station's plate may override.
const (
	SagLimit   = 0.10                    // share of the resting gauge pressure (common practice, no source)
	LeakLimit  = 15e-3 / 60              // m³/s ANR: 15 L/min (common practice, no source)
	ChargedMin = 20e3                    // Pa gauge: above it a line is not vented
	GraceNs    = 5 * 60 * station.Second // after a shutdown, before pressure left is an alarm
	SilenceNs  = 30 * station.Second     // of a periodic channel
)

// Definition is one alarm of the catalogue: its rationale and what decides it.
type Definition struct {
	Name         string
	Priority     Priority
	Severity     Severity // of the consequence
	RespondNs    int64    // within which somebody has to respond, 0: not stated (alarms of a site's own)
	Condition    string   // expression that raises it; empty where Code decides
	Clear        string   // expression that clears it; empty: the condition is no longer true
	Code         string   // what decides it in Go, in words
	DelayNs      int64    // the condition must hold for this long
	FailSafe     bool     // never suppressed, explained, delayed for chattering or taken out of service
	ShelveAtMost int64    // ns
	FrozenIn     []station.State
	SuppressedIn []station.State
	SuppressNs   int64 // suppression ends after this time in the state
	RemindNs     int64 // between reminders while nobody has acknowledged it, 0: none
	RemindAckNs  int64 // and after somebody has
	ExplainedBy  []string
	Consequence  string
	Causes       []string // likely ones, in order
	CheckFirst   string
	RespondIn    string
	Caution      string
	Runbook      string

	PriorityCharged Priority // instead of a lower Priority while the outlet was last believed charged

	raise, clear *expression
	message      []piece
	over         []piece // the message when the condition has ended
	evidence     []fact
	explained    []int
	frozen       [station.NumStates]bool
	suppressed   [station.NumStates]bool
}

//go:embed catalogue/*.yaml
var shipped embed.FS

// catalogue holds the definitions, in the order in which they are evaluated.
var catalogue = ship()

// CautionBySite ends every caution.
const CautionBySite = " By the site's procedure, by people who are allowed to; local codes govern."

// Cautions that pages show beside a state, with or without an alarm.
const (
	CautionStored = "Reading only, not isolation. Vent, lock out, verify at a local gauge, also downstream of the regulator." + CautionBySite
	CautionSilent = "Without a reading, treat the outlet as charged." + CautionBySite
	CautionAtWork = "This watches; it holds nothing shut. Lock out first." + CautionBySite
)

// ship reads the catalogue that is part of the program.
func ship() []Definition {
	files, err := shipped.ReadDir("catalogue")
	if err != nil {
		panic("BUG: the catalogue is not in the program: " + err.Error())
	}
	var all []Definition
	for _, f := range files {
		name := "catalogue/" + f.Name()
		text, err := shipped.ReadFile(name)
		if err != nil {
			panic("BUG: the catalogue is not in the program: " + err.Error())
		}
		defs, err := parse(name, text)
		if err != nil {
			panic("BUG: the shipped catalogue has faults: " + err.Error())
		}
		all = append(all, defs...)
	}
	if err := link(all); err != nil {
		panic("BUG: the shipped catalogue has faults: " + err.Error())
	}
	return all
}

// Catalogue gives the definitions of all alarms.
func Catalogue() []Definition { return append([]Definition(nil), catalogue...) }

// Quantity is what conditions can name, for people.
type Quantity struct{ Name, Unit, What string }

// Quantities gives what conditions can name, then the units of figures.
func Quantities() []Quantity {
	var all []Quantity
	for _, q := range quantities {
		all = append(all, Quantity{q.Name, q.Unit, q.What})
	}
	for _, u := range units {
		all = append(all, Quantity{u.Name, u.Unit, "unit of a figure, as in 5 * " + u.Name})
	}
	return all
}

// Nearest gives the alarm whose name differs least from name, "" if none is near.
func Nearest(name string) string { return nearest(name, alarmNames()) }

func alarmNames() []string { return namesOf(catalogue) }

func namesOf(set []Definition) []string {
	var all []string
	for i := range set {
		all = append(all, set[i].Name)
	}
	return all
}

func index(name string) int {
	for i := range catalogue {
		if catalogue[i].Name == name {
			return i
		}
	}
	return -1
}
