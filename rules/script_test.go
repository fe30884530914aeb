package rules

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The scripts that come with the catalogue, and that each alarm has one for raising, for
// staying just below, for clearing and for freezing.
func TestScripts(t *testing.T) {
	files, err := filepath.Glob("scripts/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatalf("no scripts: %v", err)
	}
	var all string
	played := 0
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		all += string(text)
		outcomes, err := RunScripts(file, text)
		if err != nil {
			t.Errorf("%v", err)
		}
		for _, o := range outcomes {
			played++
			for _, f := range o.Faults {
				t.Errorf("%s: %s", o.Name, f)
			}
		}
	}
	t.Logf("%d scripts played", played)
	for _, d := range Catalogue() {
		if !strings.Contains(all, d.Name+": unacknowledged") {
			t.Errorf("no script raises %s", d.Name)
		}
		if !strings.Contains(all, d.Name+": returned-to-normal unacknowledged") && d.Name != "inspection-due" {
			t.Errorf("no script clears %s", d.Name)
		}
	}
}

// Scripts can fail, and say where.
func TestScriptsTellWhatIsWrong(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"scripts:\n  - name: a\n    course: [{leak_flow: 30}]\n    expect:\n      - {at: 61s, alarms: {}}\n", "x.yaml:5:9: after 1m1s outlet-leak is unacknowledged, expected normal"},
		{"scripts:\n  - name: a\n    course: [{leak_flow: 1}]\n    expect:\n      - {at: 61s, alarms: {outlet-leak: shelved}}\n", "expected shelved"},
		{"scripts:\n  - name: a\n    course: [{leak_flw: 30}]\n    expect: [{at: 1s}]\n", `x.yaml:3:15: unknown key "leak_flw"; did you mean "leak_flow"?`},
		{"scripts:\n  - name: a\n    expect: [{at: 1s, alarms: {outlet-leek: normal}}]\n", `did you mean "outlet-leak"?`},
		{"scripts:\n  - name: a\n    course: [{leak_flow: 30}]\n", "expects nothing"},
		{"scripts:\n  - name: a\n    alarms: [{name: outlet-leak, delay: 5}]\n    expect: [{at: 1s}]\n", `x.yaml:3:41: "5" is no time`},
		{"", "no scripts"},
		{"scripts: []\n", "no scripts"},
		{"a: [\n", "x.yaml"},
	} {
		outcomes, err := RunScripts("x.yaml", []byte(c.text))
		got := ""
		if err != nil {
			got = err.Error()
		}
		for _, o := range outcomes {
			got += strings.Join(o.Faults, "\n")
		}
		if !strings.Contains(got, c.want) {
			t.Errorf("%s\nsays %q, want %q", c.text, got, c.want)
		}
	}
}

// A course that cannot be laid out is refused with the place and what to write instead. The
// course begins in column 13 of line 3.
func TestCoursesRefused(t *testing.T) {
	for _, c := range []struct{ course, want string }{
		{`[{leak_flow: 30xy}]`, `x.yaml:3:26: "30xy" is no number, yes, no or unknown`},
		{`[{leak_flow: .inf}]`, `x.yaml:3:26: ".inf" is no number`},
		{`[{leak_flow: inf}]`, `x.yaml:3:26: "inf" is no number`},
		{`[{state: charing}]`, `did you mean "charging"?`},
		{`[{state: unknown}]`, `x.yaml:3:22: "unknown" is none of`},
		{`[{for: 5, leak_flow: 1}]`, `x.yaml:3:20: "5" is no time`},
		{`[{for: 1500ms, leak_flow: 1}]`, `x.yaml:3:20: 1500ms is no multiple of the step of 1s`},
		{`[{for: 0s, leak_flow: 1}]`, `x.yaml:3:20: 0s is no multiple of the step of 1s`},
		{`[{leak_flow: 1}, {leak_flow: 2}]`, "x.yaml:3:14: this stretch lacks `for`"},
		{`[{for: 1s, leak_flow: 1, leak_flow: 2}]`, `x.yaml:3:38: leak_flow is given twice`},
		{`[{for: 9s, fro: 1}]`, `x.yaml:3:24: unknown key "fro"; did you mean "for"?`},
		{`[{for: 9s, leak_flow: {from: 1, two: 2}}]`, `x.yaml:3:45: unknown key "two"; did you mean "to"?`},
		{`[{for: 9s, leak_flow: {from: 1}}]`, `x.yaml:3:35: a ramp has two ends`},
		{`[{for: 9s, leak_flow: {from: 1, to: unknown}}]`, `x.yaml:3:49: "unknown" is no number`},
		{`[{for: 1s, leak_flow: {from: 1, to: 2}}]`, `x.yaml:3:35: a ramp needs`},
		{`[{leak_flow: {from: 1, to: 2}}]`, `x.yaml:3:26: a ramp needs`},
		{`[{for: 9s, state: {from: 1, to: 2}}]`, `x.yaml:3:31: a state has no ramp`},
		{`[{for: 9s, leak_flow: [1]}]`, `x.yaml:3:35: "" is no number`},
		{`[{repeat: 2}]`, `x.yaml:3:14: write a repetition as`},
		{`[{course: [{for: 1s}]}]`, `x.yaml:3:14: write a repetition as`},
		{`[{repeat: 2, leak_flow: 1, course: [{for: 1s}]}]`, `x.yaml:3:14: write a repetition as`},
		{`[{repeat: 0, course: [{for: 1s}]}]`, `x.yaml:3:23: "0" is no number of repetitions`},
		{`[{repeat: 2, course: [{leak_flow: 1}]}]`, "x.yaml:3:35: this stretch lacks `for`"},
		{`[{repeat: 2, course: []}]`, `x.yaml:3:34: a course is a list of stretches`},
		{`{leak_flow: 1}`, `x.yaml:3:13: a course is a list of stretches`},
		{`[5]`, `x.yaml:3:14: keys with values are wanted here`},
		{`[{for: 2000000h}]`, `x.yaml:3:14: the course exceeds 10000000 steps here`},
		{`[{repeat: 10000001, course: [{for: 1s}]}]`, `x.yaml:3:23: the course exceeds 10000000 steps here`},
		{`[{repeat: 4000, course: [{repeat: 4000, course: [{for: 1s}]}]}]`, `x.yaml:3:23: the course exceeds 10000000 steps here`},
		{`[{repeat: 6000000, course: [{for: 1s}]}, {repeat: 6000000, course: [{for: 1s}]}]`, `x.yaml:3:54: the course exceeds 10000000 steps here`},
	} {
		_, err := RunScripts("x.yaml", []byte("scripts:\n  - name: a\n    course: "+c.course+"\n    expect: [{at: 1s}]\n"))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s\nsays %v, want %q", c.course, err, c.want)
		}
	}
}

// A course step by step: `-` is not given yet, NaN unknown. The values follow from the text.
func TestCourse(t *testing.T) {
	for _, c := range []struct{ course, want string }{
		{`[{pulsation: 3}]`, "3 3 3 3 3 3 3 3"},
		{`[{for: 4s, leak_flow: 1}, {pulsation: 3}]`, "- - - - 3 3 3 3"},
		{`[{for: 2s, pulsation: 3}, {for: 2s, leak_flow: 1}]`, "3 3 3 3 3 3 3 3"},
		{`[{for: 2s, pulsation: 3}, {for: 2s, pulsation: unknown}, {pulsation: yes}]`, "3 3 NaN NaN 1 1 1 1"},
		{`[{for: 4s, pulsation: {from: 0, to: 6}}]`, "0 2 4 6 6 6 6 6"},
		{`[{for: 4s, pulsation: {from: 0, to: 6}}, {pulsation: 9}]`, "0 2 4 6 9 9 9 9"},
		{`[{repeat: 2, course: [{for: 1s, pulsation: 3}, {for: 2s, pulsation: 5}]}, {leak_flow: 1}]`, "3 5 5 3 5 5 5 5"},
		{`[{repeat: 2, course: [{for: 1s, pulsation: 3}, {repeat: 2, course: [{for: 1s, pulsation: 4}, {for: 1s, pulsation: 5}]}]}]`, "3 4 5 4 5 3 4 5"},
		{`[{repeat: 2, course: [{for: 3s, pulsation: {from: 1, to: 3}}]}]`, "1 2 3 1 2 3 3 3"},
	} {
		all, err := readScripts("x.yaml", []byte("scripts:\n  - name: a\n    course: "+c.course+"\n    expect: [{at: 1s}]\n"))
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		s := newScripted(&all[0])
		var got []string
		for k := range 8 {
			s.advance(k)
			value := "-"
			if x, given := s.values["pulsation"]; given {
				value = fmt.Sprint(x)
			}
			got = append(got, value)
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s\nshows %v, want %s", c.course, got, c.want)
		}
	}
}

// The step may stand behind the course, whose durations are multiples of it.
func TestCourseOfLongerSteps(t *testing.T) {
	text := "scripts:\n  - {name: a, course: [{for: %s, leak_flow: 1}, {leak_flow: 2}], step: 10s, expect: [{at: 1s}]}\n"
	all, err := readScripts("x.yaml", fmt.Appendf(nil, text, "30s"))
	if err != nil || all[0].course.stretches[0].steps != 3 { // 30 s of 10 s
		t.Errorf("%v, %v", all, err)
	}
	_, err = readScripts("x.yaml", fmt.Appendf(nil, text, "15s"))
	if want := "x.yaml:2:30: 15s is no multiple of the step of 10s"; err == nil || err.Error() != want {
		t.Errorf("%v, want %s", err, want)
	}
}
