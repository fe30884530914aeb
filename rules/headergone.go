package rules

import (
	"slices"
	"strings"

	"strokewise/analyzer/station"
)

// leave notes that a station of the standing alarm hangs on this header no longer: the alarm may
// end by it, and then says so.
func (h *Header) leave(m *member) {
	if h.standing() && m.Under {
		h.Left = append(h.Left, m.Station)
	}
}

// leftInWords returns which stations the configuration took out from under the alarm.
func (h *Header) leftInWords() string {
	if len(h.Left) == 0 {
		return ""
	}
	return " No longer counted, because the configuration has taken them off this header: " + strings.Join(h.Left, ", ") + "."
}

// Orphan retires the alarm of a header that no station hangs on any more, and reports whether
// it did.
func (h *Header) Orphan() bool {
	if len(h.Members) > 0 || h.life.Gone || h.key.WholeSite() {
		return false
	}
	h.life.Retire(h.Now)
	return true
}

// Gone reports whether no station hangs on the header any more.
func (h *Header) Gone() bool { return h.life.Gone }

// sign returns since when an alarm of the station stands that is a sign of a low header.
func (v *Evaluator) sign() (station.Instant, string) {
	for i := range v.Alarms {
		if a := &v.Alarms[i]; a.State.Active() && slices.Contains(signs, v.set[i].Name) {
			return a.Raised, v.set[i].Name
		}
	}
	return 0, ""
}
