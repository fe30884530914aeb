package rules

import (
	"regexp"
	"slices"
	"strings"
	"testing"
)

// all returns the catalogues of stations and headers.
func all() []Definition { return slices.Concat(Catalogue(), HeaderCatalogue()) }

// The priority of each alarm follows from its consequence and the time to respond, the method of
// IEC 62682; the table is our own.
func TestPrioritiesFollowTheMethod(t *testing.T) {
	for _, d := range all() {
		if d.RespondNs == 0 {
			t.Errorf("%s does not state within which time somebody has to respond", d.Name)
			continue
		}
		if want := PriorityOf(d.Severity, d.RespondNs); d.Priority != want {
			t.Errorf("%s is %s; severity %s within %s makes it %s", d.Name, d.Priority, d.Severity, d.RespondIn, want)
		}
	}
}

// What guards people has to name the hazard at hand: the cautions that the trade gives for these
// alarms (common practice, no source).
func TestCautionsNameTheHazard(t *testing.T) {
	must := map[string]string{
		PressureLeft: "Reading only, not isolation. Vent, lock out, verify at a local gauge, also downstream of the regulator.",
		"starved":    "restarts by itself when air returns", HeaderLow: "restarts by itself when air returns",
		"relief-lifting": "Never adjust, plug or isolate the relief valve", OverPressure: "Never adjust, plug or isolate the relief valve",
		"set-changed": "Never adjust, plug or isolate the relief valve",
		OutletLeak:    "with ultrasound or soap, never with hands", "inlet-leak": "with ultrasound or soap, never with hands",
		"piston-stuck": "vent both sides", "uneven-strokes": "vent both sides", "delivery-falling": "vent both sides",
		"supply-undersized": "vent both sides", "supply-restricting": "vent both sides",
		SignalLost: "treat the outlet as charged", "sensor-frozen": "Treat the outlet as charged", "sensor-implausible": "Treat the outlet as charged",
		"outlet-collapse": "A torn hose whips. Keep away until the supply is closed and the line is vented.",
	}
	for name, want := range must {
		i := slices.IndexFunc(all(), func(d Definition) bool { return d.Name == name })
		if i < 0 || !strings.Contains(all()[i].Caution, want) {
			t.Errorf("the caution of %s lacks %q", name, want)
		}
	}
	seen := map[string][]string{}
	for _, d := range all() {
		if !strings.HasSuffix(d.Caution, CautionBySite) {
			t.Errorf("the caution of %s does not end with who may do it: %s", d.Name, d.Caution)
		}
		seen[d.Caution] = append(seen[d.Caution], d.Name)
	}
	for caution, names := range seen {
		if len(names) > 3 {
			t.Errorf("one sentence for %s: %s", strings.Join(names, ", "), caution)
		}
	}
}

// dialect are words that no mechanic uses, or that mean something else in the trade: a source is the
// air supply.
var dialect = regexp.MustCompile(`(?i)no source|\btold\b|\btells\b|make-up|for ever|\bup to now\b|\bany more\b|-\d+ % (more|less|longer)`)

// claim finds sentences that call a line safe or empty.
var claim = regexp.MustCompile(`(?i)\bis safe\b|\bsafe to\b|without pressure|no pressure|depressuri|pressure-free|is vented and`)

func TestTextsForAMechanic(t *testing.T) {
	for _, d := range all() {
		var message strings.Builder
		for _, p := range slices.Concat(d.message, d.over) {
			message.WriteString(p.words + "#")
		}
		if d.Condition != "" && d.over == nil {
			t.Errorf("%s has no message for its end: what it is raised with would be false then", d.Name)
		}
		for what, text := range map[string]string{"message": message.String(), "consequence": d.Consequence, "causes": strings.Join(d.Causes, "; "),
			"check_first": d.CheckFirst, "caution": d.Caution, "runbook": d.Runbook, "code": d.Code} {
			if m := dialect.FindString(text); m != "" {
				t.Errorf("%s, %s: %q", d.Name, what, m)
			}
			if m := claim.FindString(text); m != "" {
				t.Errorf("%s, %s: %q claims what nobody here can know", d.Name, what, m)
			}
		}
		for _, p := range slices.Concat(d.message, d.over) {
			if p.unit == "kPa" {
				t.Errorf("%s writes kPa: use {%s gauge}, in the unit that the site reads", d.Name, quantities[p.quantity].Name)
			}
		}
	}
}
