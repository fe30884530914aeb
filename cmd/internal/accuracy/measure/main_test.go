package main

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"strokewise/cmd/internal/accuracy"
)

// Single stations of the sets that judge are not shown.
func TestStationsThatJudgeAreNotShown(t *testing.T) {
	for args, ok := range map[string]bool{
		"":                             true,
		"-each":                        true,
		"-set tune -each":              true,
		"-set check -each":             false,
		"-set report -each":            false,
		"-set report -recordings":      true,
		"-set check -recordings -each": true,
		"-set other":                   false,
		"-kind leak -each":             true,
		"-kind leak -set check":        false,
		"-kind leak -set report":       false,
		"-kind leak -recordings":       false,
	} {
		if _, err := parse(strings.Fields(args), io.Discard); (err == nil) != ok {
			t.Errorf("%q: %v", args, err)
		}
	}
}

// What is printed and what is written for people are the same, and machines read their own back.
func TestTablesAreWritten(t *testing.T) {
	dir := t.TempDir()
	o := options{text: filepath.Join(dir, "table.txt"), file: filepath.Join(dir, "table.json")}
	table := &accuracy.Table{Set: "tune", Stations: 2, Rows: []accuracy.Row{
		{Group: accuracy.Drawn, Counter: true, Figure: "duty", N: 2, Told: 2, Within: 1, Wrong: 1, Median: 1.25, P90: 12},
		{Group: accuracy.Drawn, Kind: "leak", Figure: "leak conductance", N: 1, Told: 1, Within: 1, Bands: 1, Held: 1},
	}}
	var out strings.Builder
	if err := o.write(&out, table); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(o.text)
	if err != nil || string(text) != out.String() {
		t.Errorf("%v: written\n%s\nprinted\n%s", err, text, out.String())
	}
	back, err := accuracy.ReadTable(o.file)
	if err != nil || back.Text(nil) != out.String() {
		t.Errorf("%v: read back\n%s", err, back.Text(nil))
	}
	o = options{before: o.file}
	out.Reset()
	if err := o.write(&out, table); err != nil || strings.Count(out.String(), "|") < 2 {
		t.Errorf("%v: beside itself\n%s", err, out.String())
	}
}
