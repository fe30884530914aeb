package accuracy

import (
	"flag"
	"os"
	"runtime"
	"strings"
	"testing"

	"strokewise/collector/rig/draw"
)

var update = flag.Bool("update", false, "store the short table as it is now, after an accepted change")

// shortStations is how many stations of the check set the short table has: two of each kind.
const shortStations = 46

// All recordings and some stations of the check set, the latter as a total, against the stored table.
// Drops returns what counts as a drop.
func TestNothingDropped(t *testing.T) {
	if raced {
		t.Skip("arithmetic, checked without the race detector; TestOrderDoesNotMatter runs with it")
	}
	const stored = "testdata/short.json"
	cases, err := Recordings()
	if err != nil {
		t.Fatal(err)
	}
	cases = append(cases, drawn(t, draw.Check, shortStations)...)
	outcomes, err := Run(cases, runtime.GOMAXPROCS(0), nil)
	if err != nil {
		t.Fatal(err)
	}
	now := &Table{Set: draw.Check.String(), Stations: shortStations, Rows: Sum(outcomes, false)}
	t.Logf("\n%s", now.Text(nil))
	if *update {
		if err := now.Write(stored); err != nil {
			t.Fatal(err)
		}
		return
	}
	was, err := ReadTable(stored)
	if err != nil {
		t.Fatal(err)
	}
	if drops := Drops(now, was); len(drops) > 0 {
		t.Errorf("accuracy has dropped:\n  %s\nWhich recordings changed: go run ./cmd/internal/accuracy/measure -recordings -each | diff cmd/internal/accuracy/recordings.txt -\n"+
			"If the change is worth it, say so in CHANGELOG.md and store the tables: make accuracy-baseline", strings.Join(drops, "\n  "))
	}
}

// The gate must be able to fail, and say what fell where.
func TestDropsAreFound(t *testing.T) {
	row := Row{Group: "first", Counter: true, Figure: "duty", N: 6, Told: 5, Within: 4, Wrong: 1, Bands: 5, Held: 4}
	stored := &Table{Set: "check", Stations: 24, Rows: []Row{row}}
	for _, c := range []struct {
		name   string
		change func(*Row)
		want   string // "": no drop
	}{
		{"the same", func(*Row) {}, ""},
		{"better", func(r *Row) { r.Told, r.Within, r.Wrong, r.Bands, r.Held = 6, 5, 0, 6, 5 }, ""},
		{"larger errors within the target", func(r *Row) { r.Median, r.P90 = 2.5, 2.9 }, ""},
		{"within", func(r *Row) { r.Within-- }, "duty of first with the counter: within target 3 of 6, stored 4"},
		{"wrong", func(r *Row) { r.Wrong++ }, "duty of first with the counter: told and wrong 2 of 6, stored 1"},
		{"told", func(r *Row) { r.Told-- }, "duty of first with the counter: told 4 of 6, stored 5"},
		{"bands", func(r *Row) { r.Held-- }, "duty of first with the counter: bands that miss the truth 2 of 6, stored 1"},
		{"other cases", func(r *Row) { r.N++ }, "duty of first with the counter: the cases have changed"},
		{"another row", func(r *Row) { r.Figure = "states" }, "duty of first with the counter: the cases have changed|states of first with the counter: has no stored row"},
	} {
		now := row
		c.change(&now)
		if got := strings.Join(Drops(&Table{Set: "check", Stations: 24, Rows: []Row{now}}, stored), "|"); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
	if got := Drops(&Table{Set: "tune", Stations: 24, Rows: []Row{row}}, stored); len(got) != 1 {
		t.Errorf("another set: %q", got)
	}
}

// The published tables are those that make accuracy wrote, and stand beside the one of the release before.
func TestPublishedTables(t *testing.T) {
	before, err := ReadTable("before.json")
	if err != nil {
		t.Fatal(err)
	}
	now, err := ReadTable("table.json")
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{"before.txt": before.Text(nil), "table.txt": now.Text(before)} {
		got, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if string(got) != want {
			t.Errorf("%s is not what its numbers are: run make accuracy", name)
		}
	}
}

// drawn returns the first n stations of a set.
func drawn(t *testing.T, set draw.Set, n int) []Case {
	t.Helper()
	cases, err := Stations(set, "", n)
	if err != nil {
		t.Fatal(err)
	}
	return cases
}

// A kind alone is every station of that kind, and no other.
func TestStationsOfOneKind(t *testing.T) {
	cases, err := Stations(draw.Tune, "leak", 2)
	if err != nil || len(cases) != 2 || cases[0].Kind != "leak" || cases[1].Kind != "leak" || cases[0].Name == cases[1].Name {
		t.Errorf("%v, %d cases", err, len(cases))
	}
	if _, err := Stations(draw.Tune, "leek", 1); err == nil || !strings.Contains(err.Error(), "leak") {
		t.Errorf("an unknown kind: %v", err)
	}
}

// How many cases run at a time changes nothing.
func TestOrderDoesNotMatter(t *testing.T) {
	all, err := Recordings()
	if err != nil {
		t.Fatal(err)
	}
	cases := drawn(t, draw.Tune, 2)
	for _, c := range all {
		switch c.Name { // the smallest
		case "03-healthy-10hz-counter", "n03-healthy-10hz", "n09-thermal-no-leak-20hz":
			cases = append(cases, c)
		}
	}
	if len(cases) != 5 {
		t.Fatalf("%d cases", len(cases))
	}
	text := func(workers int) string {
		outcomes, err := Run(cases, workers, nil)
		if err != nil {
			t.Fatal(err)
		}
		return (&Table{Rows: Sum(outcomes, true)}).Text(nil)
	}
	if a, b := text(1), text(3); a != b {
		t.Errorf("one at a time:\n%s\nthree at a time:\n%s", a, b)
	}
}
