package notify

import (
	"strings"
	"testing"

	"strokewise/rules"
)

func TestPanelWords(t *testing.T) {
	at := func(name string, p rules.Priority, s rules.AlarmState) rules.Transition {
		return rules.Transition{Alarm: name, Priority: p, To: s}
	}
	leak, left := at("outlet-leak", rules.Medium, rules.Acknowledged), at("pressure-left", rules.High, rules.Unacknowledged)
	lost, finding := at(rules.SignalLost, rules.Low, rules.Unacknowledged), at("supply-undersized", rules.Finding, rules.Unacknowledged)
	for name, c := range map[string]struct {
		open  []rules.Transition
		heard bool
		want  string
	}{
		"nothing":                        {nil, true, "none-open"},
		"never heard":                    {nil, false, "unknown"},
		"the highest counts":             {[]rules.Transition{leak, left, finding}, true, "high"},
		"acknowledged counts":            {[]rules.Transition{leak}, true, "medium"},
		"a finding":                      {[]rules.Transition{finding}, true, "finding"},
		"a finding of a silent one":      {[]rules.Transition{finding}, false, "unknown"},
		"lost":                           {[]rules.Transition{lost}, true, "unknown"},
		"lost with pressure left":        {[]rules.Transition{lost, left}, true, "high"},
		"silent with a leak":             {[]rules.Transition{leak}, false, "medium"},
		"returned, unacknowledged":       {[]rules.Transition{at("pressure-left", rules.High, rules.ReturnedUnacknowledged)}, true, "none-open"},
		"shelved hides nothing":          {[]rules.Transition{at("pressure-left", rules.High, rules.Shelved)}, true, "high"},
		"out of service is not its word": {[]rules.Transition{at("pressure-left", rules.High, rules.OutOfService)}, true, "none-open"},
	} {
		got := PanelWord(c.open, c.heard)
		if got != c.want {
			t.Errorf("%s: %s, expected %s", name, got, c.want)
		}
		for _, bad := range []string{"vent", "safe", "ok", "clear", "free", "normal"} {
			if strings.Contains(got, bad) {
				t.Errorf("%s: %q promises something", name, got)
			}
		}
	}
}
