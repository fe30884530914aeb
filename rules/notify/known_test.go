package notify

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Whoever reads an alarm reads with it what it leads to, its causes, what to check first and the
// runbook, whichever way it came.
func TestWhatIsKnownOfAnAlarmGoesWithIt(t *testing.T) {
	tr := rules.Transition{Key: station.Key{Site: "northdock", Station: "press-4"}, Alarm: rules.PressureLeft, Priority: rules.High,
		To: rules.Unacknowledged, At: 1767225600e9, Raised: 1767225600e9, Message: "m", Caution: rules.CautionStored}
	d, _ := rules.DefinitionOf(tr.Key, tr.Alarm)
	known := append([]string{d.Consequence, d.CheckFirst, d.RespondIn, d.Runbook, rules.CautionStored}, d.Causes...)

	_, mail := mailText(&tr, nil, time.UTC, "")
	body, err := encode(&tr, nil)
	if err != nil {
		t.Fatal(err)
	}
	var e struct {
		Data struct {
			Caution string
			Known   struct {
				Consequence, Runbook string
				Causes               []string
				CheckFirst           string `json:"check_first"`
				RespondIn            string `json:"respond_in"`
			}
		}
	}
	if err := json.Unmarshal(body, &e); err != nil {
		t.Fatal(err)
	}
	k := e.Data.Known
	event := strings.Join(append([]string{e.Data.Caution, k.Consequence, k.CheckFirst, k.RespondIn, k.Runbook}, k.Causes...), "\n")
	var alert []string
	for _, name := range []string{"caution", "consequence", "causes", "check_first", "respond", "description"} {
		alert = append(alert, annotations(&tr, nil)[name])
	}
	for way, text := range map[string]string{"mail": mail, "event": event, "alert": strings.Join(alert, "\n")} {
		for _, want := range known {
			if !strings.Contains(text, want) {
				t.Errorf("the %s has no %q:\n%s", way, want, text)
			}
		}
	}
	tr.Evidence = []rules.Evidence{{Name: "progress", Text: "Outlet: 983 kPa gauge when raised, 905 now, falling 4 kPa/min."}}
	body, _ = encode(&tr, nil)
	_, mail = mailText(&tr, nil, time.UTC, "")
	for way, text := range map[string]string{"mail": mail, "event": string(body), "alert": annotations(&tr, nil)["summary"]} {
		if !strings.Contains(text, "m Outlet: 983 kPa gauge when raised, 905 now, falling 4 kPa/min.") {
			t.Errorf("the message of the %s holds no progress:\n%s", way, text)
		}
	}
	tr.Alarm = "of-the-site"
	if body, err = encode(&tr, nil); err != nil || strings.Contains(string(body), `"known"`) {
		t.Errorf("of an alarm that is not known: %s, %v", body, err)
	}
}

// An alarm of the site's own, and a shipped one that the site has changed, carry the site's words.
func TestAnAlarmOfTheSiteIsKnownToo(t *testing.T) {
	own := rules.Definition{Name: "dew-point", Consequence: "Water freezes in the exhaust.", Causes: []string{"the dryer is off", "its drain is stuck"},
		CheckFirst: "Look at the dryer's lamp.", RespondIn: "this shift", Runbook: "Switch the dryer on, then drain the line."}
	known := func(k station.Key, alarm string) (rules.Definition, bool) {
		return own, alarm == own.Name && k.Station == "press-4"
	}
	tr := rules.Transition{Key: station.Key{Site: "northdock", Station: "press-4"}, Alarm: own.Name, Priority: rules.Medium, To: rules.Unacknowledged, At: 1767225600e9, Raised: 1767225600e9, Message: "m"}
	_, mail := mailText(&tr, known, time.UTC, "")
	event, err := encode(&tr, known)
	if err != nil {
		t.Fatal(err)
	}
	var alert []string
	for _, text := range annotations(&tr, known) {
		alert = append(alert, text)
	}
	for way, text := range map[string]string{"mail": mail, "event": string(event), "alert": strings.Join(alert, "\n")} {
		for _, want := range append([]string{own.Consequence, own.CheckFirst, own.RespondIn, own.Runbook}, own.Causes...) {
			if !strings.Contains(text, want) {
				t.Errorf("the %s has no %q:\n%s", way, want, text)
			}
		}
	}
}
