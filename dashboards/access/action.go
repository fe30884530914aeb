package access

import (
	"maps"
	"slices"
)

// Action is something that somebody may or may not do. People's commands have the name of their
// kind.
type Action string

// Actions that are no people's commands.
const (
	Open     Action = "open"      // what needs no login: the login itself, whether the program lives
	Look     Action = "look"      // read any page
	Scrape   Action = "scrape"    // read the metrics
	Account  Action = "account"   // see and end one's own sessions
	Backtest Action = "back-test" // run changed alarms over the past
	Refused  Action = "refused"   // take refused messages again, or discard them
	Trust    Action = "trust"     // say that this machine's clock is right
	Logins   Action = "logins"    // see and end everybody's sessions
	Audit    Action = "audit"     // read the trail, with addresses and what was denied
	Discover Action = "discover"  // listen to a broker that nobody has described, for a proposal
	Reload   Action = "reload"    // have the configuration read again
	Fault    Action = "fault"     // cause faults at the demonstration's virtual stations
)

// least is the least role for each action: the one table that handlers, documents and tests share.
// An action that is missing here is nobody's.
var least = map[Action]Role{
	Open:    Nobody,
	Look:    Viewer,
	Scrape:  Viewer,
	Account: Viewer,

	"acknowledge": Operator,
	"note":        Operator,
	"vented":      Operator,
	"at-work":     Operator,
	"work-ended":  Operator,

	"shelve":         Engineer,
	"unshelve":       Engineer,
	"out-of-service": Engineer,
	"in-service":     Engineer,
	"close":          Engineer,
	"done":           Engineer,
	"inspected":      Engineer,
	Backtest:         Engineer,
	Refused:          Engineer,
	Fault:            Engineer,
	Discover:         Engineer,

	Audit:  Administrator,
	Logins: Administrator,
	Trust:  Administrator,
	Reload: Administrator,
}

// everywhere are the actions that belong to no site: whoever has a scope may not do them.
var everywhere = map[Action]bool{Refused: true, Trust: true, Audit: true, Logins: true, Discover: true, Reload: true}

// Least returns the least role that may do a, and false for an action that nobody may do.
func Least(a Action) (Role, bool) {
	r, ok := least[a]
	return r, ok
}

// Actions returns all actions in the order of their names.
func Actions() []Action { return slices.Sorted(maps.Keys(least)) }

// ConcernsPressure reports whether a command concerns stored pressure or people beside it: such a
// one asks for the login again, or for a second person. guards says that its alarm guards people.
func ConcernsPressure(a Action, guards bool) bool {
	switch a {
	case "vented", "work-ended":
		return true
	case "shelve", "out-of-service", "close": // closed is also what a station leaves behind that is no longer configured
		return guards
	}
	return false
}
