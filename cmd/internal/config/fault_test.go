package config

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

var update = flag.Bool("update", false, "renew the expected messages")

// Each file in testdata/bad has faults; the messages stand beside it. Files whose names
// begin with "replay" are read without a broker.
func TestBadFiles(t *testing.T) {
	files, err := filepath.Glob("testdata/bad/*.yaml")
	if err != nil || len(files) < 40 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, path := range files {
		t.Run(filepath.Base(path), func(t *testing.T) {
			opt := live
			opt.NoBroker = strings.HasPrefix(filepath.Base(path), "replay")
			_, err := Load(path, opt)
			if err == nil {
				t.Fatal("is taken without a fault")
			}
			got := err.Error() + "\n"
			golden := strings.TrimSuffix(path, ".yaml") + ".txt"
			if *update {
				if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("got\n%swant\n%s", got, want)
			}
		})
	}
}

// Each fault is on one line, points to a line of the file that holds its key, and a line
// with "# fault" in the file has at least one fault.
func TestFaultsPointToTheirLines(t *testing.T) {
	files, _ := filepath.Glob("testdata/bad/*.yaml")
	marked := 0
	for _, path := range files {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		opt := live
		opt.NoBroker = strings.HasPrefix(filepath.Base(path), "replay")
		_, err = Load(path, opt)
		at := map[int]bool{}
		for _, e := range unjoin(err) {
			at[e.Line] = true
			if strings.Contains(e.Error(), "\n") {
				t.Errorf("%s: a message of several lines: %q", path, e.Error())
			}
		}
		for i, line := range strings.Split(string(data), "\n") {
			if !strings.Contains(line, "# fault") {
				continue
			}
			if marked++; !at[i+1] {
				t.Errorf("%s:%d is a fault and is not reported", path, i+1)
			}
			delete(at, i+1)
		}
		if strings.Contains(string(data), "# fault") && len(at) > 0 {
			t.Errorf("%s: faults on lines %v that are not marked", path, at)
		}
	}
	if marked < 60 {
		t.Errorf("only %d marked faults", marked)
	}
}

func TestAllFaultsAtOnce(t *testing.T) {
	_, err := Load("testdata/bad/many.yaml", live)
	if n := len(unjoin(err)); n < 15 {
		t.Errorf("%d faults", n)
	}
	form := regexp.MustCompile(`^testdata/bad/many\.yaml:\d+: [a-z0-9_.\[\]-]+: .+`)
	for _, e := range unjoin(err) {
		if !form.MatchString(e.Error()) {
			t.Errorf("form of %q", e.Error())
		}
	}
}

func TestMessageHasAllParts(t *testing.T) {
	_, err := Parse([]byte("version: 1\nstations:\n  - id: press-4\n    booster:\n      set_pressure: 900\n"), "plant.yaml", Options{NoBroker: true})
	const want = `plant.yaml:5: stations[0].booster.set_pressure: "900" has no unit; expected a pressure in kPa, MPa, Pa, bar, mbar or psi (gauge, unless it ends in "abs"); example: set_pressure: 900 kPa`
	if err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
}

func TestManyFaultsAreCutShort(t *testing.T) {
	text := "stations:\n" + strings.Repeat("  - {}\n", 3*maxFaults)
	_, err := Parse([]byte(text), "x.yaml", Options{NoBroker: true})
	got := unjoin(err)
	if len(got) != maxFaults+1 || !strings.Contains(got[maxFaults].Problem, "2000 more") {
		t.Errorf("%d faults, the last %v", len(got), got[len(got)-1])
	}
}

func TestAliasesOfAliasesEnd(t *testing.T) {
	var b strings.Builder
	b.WriteString("sites:\n  - id: a\n    shifts: &s\n")
	b.WriteString(strings.Repeat("      - {days: mon, from: \"06:00\", to: \"07:00\"}\n", 3000))
	b.WriteString(strings.Repeat("  - {id: b, shifts: *s}\n", 3000))
	b.WriteString("stations: [{id: a, site: a}]\n")
	_, err := Parse([]byte(b.String()), "x.yaml", Options{NoBroker: true})
	if err == nil || !strings.Contains(err.Error(), "aliases are followed") && !strings.Contains(err.Error(), "more faults") {
		t.Errorf("%v", err)
	}
}

func TestFileThatCannotBeRead(t *testing.T) {
	_, err := Load(filepath.Join(t.TempDir(), "none.yaml"), live)
	if err == nil || !strings.HasPrefix(err.Error(), "cannot read configuration: ") || !os.IsNotExist(unwrap(err)) {
		t.Errorf("%v", err)
	}
	if _, err = Load(t.TempDir(), live); err == nil {
		t.Error("a folder is taken")
	}
}

func unwrap(err error) error { return err.(interface{ Unwrap() error }).Unwrap() }

// Every example is valid YAML, and whoever follows it has mended the fault.
func TestExamplesMend(t *testing.T) {
	files, _ := filepath.Glob("testdata/bad/*.yaml")
	mended := 0
	for _, path := range files {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		opt := live
		opt.NoBroker = strings.HasPrefix(filepath.Base(path), "replay")
		_, err = Load(path, opt)
		for _, e := range unjoin(err) {
			if e.Example == "" {
				continue
			}
			if err := yaml.Unmarshal([]byte(e.Example), new(yaml.Node)); err != nil {
				t.Errorf("%s: the example is no YAML: %v", e, err)
			}
			fixed, ok := follows(data, e)
			if !ok || strings.HasSuffix(e.Key, "_file") { // the files of examples do not exist here
				continue
			}
			mended++
			_, err := Parse(fixed, path, opt)
			for _, left := range unjoin(err) {
				if left.Key == e.Key {
					t.Errorf("%s: after the example was followed: %v", e, left)
				}
			}
		}
	}
	if mended < 50 {
		t.Errorf("only %d examples were followed", mended)
	}
}

// follows puts a fault's example where the fault is, if its key stands there alone.
func follows(data []byte, e *Error) ([]byte, bool) {
	key, _, _ := strings.Cut(e.Example, ":")
	lines := strings.Split(string(data), "\n")
	if e.Line < 1 || !strings.HasSuffix(e.Key, key) {
		return nil, false
	}
	at := regexp.MustCompile(`^([ -]*)` + regexp.QuoteMeta(key) + `: *[^ ].*$`)
	if !at.MatchString(lines[e.Line-1]) {
		return nil, false
	}
	lines[e.Line-1] = at.ReplaceAllString(lines[e.Line-1], "${1}"+strings.ReplaceAll(e.Example, "$", "$$"))
	return []byte(strings.Join(lines, "\n")), true
}

func TestTooManyStations(t *testing.T) {
	many := func(n int) error {
		var b strings.Builder
		b.WriteString("stations:\n")
		for i := range n {
			fmt.Fprintf(&b, "  - {id: s%d, booster: {drive_bore: 63 mm, boost_bore: 63 mm, rod: 16 mm, stroke: 60 mm}}\n", i)
		}
		_, err := Parse([]byte(b.String()), "x.yaml", Options{NoBroker: true})
		return err
	}
	if err := many(MaxStations); err != nil {
		t.Error(err)
	}
	if err := many(MaxStations + 1); err == nil || !strings.Contains(err.Error(), "holds 20001 stations; expected at most 20000") {
		t.Errorf("%v", err)
	}
	if _, err := Parse(make([]byte, MaxFile+1), "x.yaml", Options{}); err == nil || !strings.Contains(err.Error(), "larger than") {
		t.Errorf("%v", err)
	}
}
