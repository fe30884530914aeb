package notify

import "strokewise/rules"

// Words of a panel's topics besides the names of priorities. None says that a line is
// free of pressure: nothing here may be interlocked on.
const (
	PanelNoneOpen  = "none-open" // no alarm is open; the line may be charged all the same
	PanelUnknown   = "unknown"
	PanelRunning   = "running" // of the heartbeat
	PanelHeartbeat = "heartbeat"
)

// PanelTopic gives the topic of a station's light.
func PanelTopic(prefix, site, station string) string {
	return prefix + "/" + site + "/" + station + "/alarm"
}

// PanelWord gives the highest priority of a station's alarms whose condition is present,
// shelved ones too, from the newest transition of each. A station that is not heard is
// unknown, unless something of high or medium priority stands.
func PanelWord(open []rules.Transition, heard bool) string {
	highest, any := rules.Finding, false
	for i := range open {
		t := &open[i]
		if !t.To.Active() && t.To != rules.Shelved {
			continue
		}
		heard = heard && t.Alarm != rules.SignalLost
		highest, any = max(highest, t.Priority), true
	}
	switch {
	case any && highest >= rules.Medium:
		return highest.String()
	case !heard:
		return PanelUnknown
	case any:
		return highest.String()
	}
	return PanelNoneOpen
}
