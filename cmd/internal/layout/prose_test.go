package layout

import (
	"go/parser"
	"go/token"
	"strings"
	"testing"
)

// proseMay are the functions that may look into words, each with its reason.
var proseMay = map[string]string{
	"cmd/internal/budget/main.go:read":      "the lines are the output of go test",
	"cmd/internal/config/load.go:syntax":    "the YAML parser names the line of a fault in its words alone",
	"collector/samplelog/command.go:unpack": "entries of older logs hold causes, services and documents within notes",
	"dashboards/web/refused.go:refusals":    "the reason of a refused message is the label of its counter, of a type of its own in the collector",
	"rules/expression.go:placeOf":           "the expression library names an unknown quantity in its words alone; the hint alone depends on it",
	"rules/script.go:say":                   "a script states what a refusal is to say",
}

// No code of the program decides by words for people, but those that are listed.
func TestNothingDecidesByProse(t *testing.T) {
	all := sources(t)
	constants := textConstants{}
	for _, s := range all {
		constants.add(s.file)
	}
	used := map[string]bool{}
	for _, s := range all {
		if s.test || within(s.dir, []string{"cmd/internal/layout"}) || !within(s.dir, []string{"analyzer", "rules", "dashboards", "cmd", "collector/samplelog"}) {
			continue
		}
		for _, r := range proseReadings(s.file, constants) {
			where := s.path + ":" + r.function
			if used[where] = true; proseMay[where] == "" {
				t.Errorf("%s: %s reads words for people: give what it decides by a type, and make the words from it", s.fset.Position(r.pos), r.function)
			}
		}
	}
	for where, why := range proseMay {
		if !used[where] {
			t.Errorf("%s reads no words any more: take it from the list (%s)", where, why)
		}
	}
}

// The test above bites. Source of each row: a form in which code of this tree once decided.
func TestProseIsFound(t *testing.T) {
	for code, want := range map[string]int{
		`strings.Contains(s.StateReason, "frozen")`:                        1,
		`strings.HasPrefix(s.StateReason.String(), "the inlet")`:           1,
		`strings.Contains(a.Detail, mark)`:                                 1,
		`strings.HasPrefix(strings.ToLower(strings.TrimSpace(n.Text)), w)`: 1,
		`time.Parse(layout, e.Text)`:                                       1,
		`strings.HasPrefix(in.From(), "assumed")`:                          1,
		`strings.Cut(note, ":")`:                                           1,
		`text := n.Text; _ = strings.Fields(text)`:                         1,
		`a, b := 1, strings.ToLower(n.Text); _, _ = a, b == "x"`:           1,
		`_ = t.Why == "the time is over"`:                                  1,
		`_ = mark != e.Reason`:                                             1,
		`_ = e.Reason == p.Mark`:                                           1,
		`switch t.Why { case "", "over": }`:                                1,
		`_ = causes[t.Note]`:                                               1,
		`_ = re.MatchString(err.Error())`:                                  1,
		`_ = slices.Contains(list, t.Message)`:                             1,
		`_ = e.Reason == ""`:                                               0,
		`_ = d.Reason != reason`:                                           0,
		`_ = s.Reason == mail.ErrRefused`:                                  0,
		`switch t.Why { case "": }`:                                        0,
		`_ = strings.TrimSpace(c.Note) == ""`:                              0,
		`_ = strings.Join(names, t.Why)`:                                   0,
		`_ = strings.Contains(name, "x")`:                                  0,
		`_ = fmt.Sprintf("%s: %s", t.Why, t.Note)`:                         0,
	} {
		f, err := parser.ParseFile(token.NewFileSet(), "p.go", "package p\nconst mark = \"(no effect\"\nconst Mark = \"m\"\nfunc f() { "+code+" }\n", parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(code, err)
		}
		constants := textConstants{}
		constants.add(f)
		if got := len(proseReadings(f, constants)); got != want {
			t.Errorf("%s: %d readings, want %d", strings.TrimSpace(code), got, want)
		}
	}
}
