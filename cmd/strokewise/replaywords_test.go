package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What people said counts in a replay as it did at the time: strokes while somebody is declared at work raise the
// alarm, and so does the end of the declared time. The trace lasts from 00:00 to 00:20, and its station strokes.
func TestAReplayHearsWhatPeopleSaid(t *testing.T) {
	cfg, trace := leaking(t)
	file := filepath.Join(t.TempDir(), "words.yaml")
	text := `- { at: 2026-01-01T00:05:00Z, say: at-work, by: Ada, until: 2026-01-01T00:12:00Z, why: changing seals }
- { at: 2026-01-01T00:06:00Z, say: vented, by: Ben, why: gauge reads 0 }
- { at: 2026-01-01T00:16:00Z, say: work-ended, by: Ada }
- { at: 2026-01-02T00:00:00Z, say: at-work, by: Ada, until: 2026-01-02T01:00:00Z, why: tomorrow }
`
	put := func(text string) {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	put(text)
	code, out, errOut := call("replay", "--config", cfg, "--alarms", "--words", file, trace)
	for _, want := range []string{"pressure-at-work", "work-time-over", "2026-01-01T00:16:00Z", "Ada"} {
		if code != exitOK || !strings.Contains(out, want) {
			t.Errorf("%d: no %q in\n%s%s", code, want, out, errOut)
		}
	}
	for _, want := range []string{"refused: 2026-01-01T00:06:00Z vented by Ben", "1 words of " + file + " come after the trace's end"} {
		if !strings.Contains(errOut, want) {
			t.Errorf("no %q in\n%s", want, errOut)
		}
	}
	if _, out, _ := call("replay", "--config", cfg, "--alarms", trace); strings.Contains(out, "pressure-at-work") {
		t.Errorf("people at work of whom nobody spoke:\n%s", out)
	}
	for text, want := range map[string]string{
		"- { at: 2026-01-01T00:05:00Z, say: at-wrok, by: Ada }":          `entry 1: say is "at-wrok"`,
		"- { say: at-work, by: Ada }":                                    "entry 1: at is missing",
		"- { at: 2026-01-01T00:05:00Z, say: at-work }":                   "entry 1: by is missing",
		"- { at: 2026-01-01T00:05:00Z, say: at-work, who: Ada }":         "field who not found",
		"- { at: 2026-01-01T00:05:00Z, say: close, by: A, cause: rain }": `cause is "rain"`,
	} {
		put(text)
		if code, _, errOut := call("replay", "--config", cfg, "--words", file, trace); code != exitFault || !strings.Contains(errOut, want) {
			t.Errorf("%s: %d, no %q in %s", text, code, want, errOut)
		}
	}
}
