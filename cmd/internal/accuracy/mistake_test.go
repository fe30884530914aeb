package accuracy

import (
	"encoding/json"
	"os"
	"runtime"
	"strings"
	"testing"

	"strokewise/collector/rig/draw"
)

// shortMistaken is the number of stations of the short table of mistakes; each has so many of the mistakes in turn that all are played once.
const shortMistaken, mistakesEach = 4, 7

// Each mistake on one station of the check set, as a total, against the stored table.
func TestNoMistakeIsNamedWorse(t *testing.T) {
	if raced {
		t.Skip("arithmetic, checked without the race detector")
	}
	if shortMistaken*mistakesEach != len(mistakes) {
		t.Fatalf("%d mistakes on %d stations of %d each", len(mistakes), shortMistaken, mistakesEach)
	}
	const stored = "testdata/mistakes.json"
	now := SumMistakes(Mistaken(draw.Check, shortMistaken, mistakesEach, runtime.GOMAXPROCS(0), nil))
	t.Logf("\n%s", MistakesText("check", now))
	if *update {
		b, err := json.MarshalIndent(now, "", " ")
		if err == nil {
			err = os.WriteFile(stored, append(b, '\n'), 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
		return
	}
	b, err := os.ReadFile(stored)
	if err != nil {
		t.Fatal(err)
	}
	var was []MistakeRow
	if err := json.Unmarshal(b, &was); err != nil {
		t.Fatal(err)
	}
	if drops := MistakeDrops(now, was); len(drops) > 0 {
		t.Errorf("mistakes are named worse:\n  %s", strings.Join(drops, "\n  "))
	}
}

// The comparison must be able to fail.
func TestMistakeDropsAreFound(t *testing.T) {
	row := MistakeRow{Mistake: "tank volume", N: 3, Named: 2, Wrong: 0, Silent: 1}
	for name, change := range map[string]func(*MistakeRow){
		"named": func(r *MistakeRow) { r.Named-- },
		"wrong": func(r *MistakeRow) { r.Wrong++ },
		"cases": func(r *MistakeRow) { r.N++ },
	} {
		now := row
		change(&now)
		if got := MistakeDrops([]MistakeRow{now}, []MistakeRow{row}); len(got) != 1 {
			t.Errorf("%s: %q", name, got)
		}
	}
	if got := MistakeDrops([]MistakeRow{row}, []MistakeRow{row}); len(got) != 0 {
		t.Errorf("the same: %q", got)
	}
}
