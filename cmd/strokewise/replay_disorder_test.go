package main

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"strokewise/cmd/internal/report"
)

// rowsOf returns the header and the rows of a shipped recording.
func rowsOf(t *testing.T, name string) (header string, rows []string) {
	t.Helper()
	data, err := os.ReadFile(recording(t, name))
	if err != nil {
		t.Fatal(err)
	}
	z, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	return lines[0], lines[1:]
}

// at returns a row's time, s.
func at(t *testing.T, row string) float64 {
	t.Helper()
	cell, _, _ := strings.Cut(row, ",")
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// delayed returns rows in the order in which they arrive after random delays of up to so many
// seconds: none comes when one newer by more than that was there.
func delayed(t *testing.T, rows []string, most float64, seed uint64) []string {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 1))
	type row struct {
		text string
		due  float64
	}
	var all []row
	for _, text := range rows {
		all = append(all, row{text, at(t, text) + most*r.Float64()})
	}
	slices.SortStableFunc(all, func(a, b row) int { return int(sign(a.due - b.due)) })
	out := make([]string, len(all))
	for i := range all {
		out[i] = all[i].text
	}
	return out
}

func sign(x float64) float64 {
	switch {
	case x < 0:
		return -1
	case x > 0:
		return 1
	}
	return 0
}

// reportOf returns the JSON object of rows with all that a replay can print, what was left out
// apart from the rest.
func reportOf(t *testing.T, lateness, header string, rows []string) (string, report.LeftOut) {
	t.Helper()
	cfg := write(t, "c.yaml", lateness+oneStation)
	path := write(t, "t.csv", header+"\n"+strings.Join(rows, "\n")+"\n")
	code, out, errOut := call("replay", "--config", cfg, "--json", "--strokes", "--explain", path)
	if code != exitOK {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	var r struct {
		LeftOut json.RawMessage `json:"left_out"`
	}
	var left report.LeftOut
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(r.LeftOut, &left); err != nil {
		t.Fatal(err)
	}
	left.FirstLate = strings.TrimPrefix(left.FirstLate, path)
	return strings.Replace(out, string(r.LeftOut), "", 1), left
}

// Rows out of order within the lateness, the usual one and configured ones, change nothing in the
// report, and none of them is late.
func TestReplayOfDisorder(t *testing.T) {
	for _, name := range []string{"shutdown", "leak"} {
		header, rows := rowsOf(t, name)
		for _, c := range []struct {
			lateness string
			most     float64 // s
		}{{"", 1.999}, {"lateness: 500 ms\n", 0.499}, {"lateness: 8 s\n", 7.999}} {
			want, none := reportOf(t, c.lateness, header, rows)
			if none != (report.LeftOut{}) || !strings.Contains(want, `"strokes":[{`) || !strings.Contains(want, `"alarms":[{`) {
				t.Fatalf("%s: left out %+v; the recording shows too little", name, none)
			}
			for seed := range uint64(2) {
				mixed := delayed(t, rows, c.most, seed)
				if slices.Equal(mixed, rows) {
					t.Fatal("nothing is out of order")
				}
				got, left := reportOf(t, c.lateness, header, mixed)
				if left != none {
					t.Errorf("%s, %g s, seed %d: left out %+v", name, c.most, seed, left)
				}
				if got != want {
					t.Errorf("%s, %g s, seed %d: another report:\n%.1500s\nin order:\n%.1500s", name, c.most, seed, got, want)
				}
			}
		}
	}
}

// Repeated rows are counted and change nothing, one right behind the other or out of order.
func TestReplayOfDuplicates(t *testing.T) {
	header, rows := rowsOf(t, "shutdown")
	want, _ := reportOf(t, "", header, rows)
	var twice []string
	for i, row := range rows {
		twice = append(twice, row)
		if i%7 == 0 {
			twice = append(twice, row)
		}
	}
	channels := strings.Count(header, ",")
	for name, given := range map[string][]string{"in order": twice, "out of order": delayed(t, twice, 1.999, 3)} {
		got, left := reportOf(t, "", header, given)
		if n := int64(channels * (len(twice) - len(rows))); left != (report.LeftOut{Duplicates: n}) {
			t.Errorf("%s: left out %+v, want %d duplicates", name, left, n)
		}
		if got != want {
			t.Errorf("%s: another report:\n%.1500s\nwithout them:\n%.1500s", name, got, want)
		}
	}
}

// Rows further back than the lateness are left out and counted, the first with its line; the rest
// is as if they were not there, also where more than half a minute of them comes at once, as a
// gateway sends what it held back.
func TestReplayOfLateRows(t *testing.T) {
	header, rows := rowsOf(t, "leak")
	channels := strings.Count(header, ",")
	for name, c := range map[string]struct{ from, n, by int }{
		"a single one":      {600, 1, 200},
		"a minute at once":  {1000, 1200, 1300},
		"just behind 2.5 s": {600, 1, 51}, // rows come every 50 ms; states are decided in steps of half a second
	} {
		late := rows[c.from : c.from+c.n]
		kept := slices.Concat(rows[:c.from], rows[c.from+c.n:])
		moved := slices.Concat(rows[:c.from], rows[c.from+c.n:c.from+c.n+c.by], late, rows[c.from+c.n+c.by:])
		want, _ := reportOf(t, "", header, kept)
		got, left := reportOf(t, "", header, moved)
		first := fmt.Sprintf(":%d", 2+c.from+c.by)
		if left != (report.LeftOut{Late: int64(channels * c.n), FirstLate: first}) {
			t.Errorf("%s: left out %+v, want %d late from line %s", name, left, channels*c.n, first)
		}
		if got != want {
			t.Errorf("%s: another report than without the late rows", name)
		}
	}
}

// A table says what was left out, where, and what to do.
func TestReplayTableSaysWhatWasLeftOut(t *testing.T) {
	header, rows := rowsOf(t, "shutdown")
	text := strings.Join(slices.Concat([]string{header}, rows[:200], rows[100:101], rows[199:]), "\n")
	path := write(t, "t.csv", text)
	code, out, errOut := call("replay", "--config", write(t, "c.yaml", oneStation), path)
	for _, want := range []string{"late ", path + ":202;", "raise lateness", "duplicates     3 readings"} {
		if code != exitOK || !strings.Contains(out, want) {
			t.Errorf("%d: no %q in\n%.1000s%s", code, want, out, errOut)
		}
	}
	if strings.Contains(out, "\nalarm ") {
		t.Error("alarms unasked")
	}
}

// The lists of the JSON object are lists, also where nothing is in them; strokes only on request.
func TestReplayListsAreLists(t *testing.T) {
	cfg, path := write(t, "c.yaml", oneStation), write(t, "t.csv", "time,cycles\n1767225600,5\n1767225601,5\n")
	for _, args := range [][]string{nil, {"--alarms"}, {"--strokes"}, {"--to", "2025-01-01T00:00:00Z"}} {
		code, out, errOut := call(append([]string{"replay", "--config", cfg, "--json", path}, args...)...)
		var r map[string]json.RawMessage
		if err := json.Unmarshal([]byte(out), &r); err != nil || code != exitOK {
			t.Fatalf("%v: %d, %v: %s", args, code, err, errOut)
		}
		for _, list := range []string{"alarms", "minutes", "states"} {
			if len(r[list]) < 2 || r[list][0] != '[' {
				t.Errorf("%v: %s is %s", args, list, r[list])
			}
		}
		if _, ok := r["strokes"]; ok != slices.Contains(args, "--strokes") {
			t.Errorf("%v: strokes %s", args, r["strokes"])
		}
	}
	if _, out, _ := call("replay", "--config", cfg, "--json", "--alarms", path); !strings.Contains(out, `"alarms":[]`) {
		t.Errorf("no empty list: %s", out)
	}
	if _, out, _ := call("replay", "--config", cfg, "--json", recording(t, "shutdown")); !strings.Contains(out, `"alarms":[{"alarm":"pressure-left"`) {
		t.Errorf("no alarms without --alarms: %.500s", out)
	}
}
