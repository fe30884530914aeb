package layout

import (
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "lower the limits of house.txt to what is measured")

// limits reads a limit for each measure.
func limits(t *testing.T) map[string]int {
	t.Helper()
	text, err := os.ReadFile("house.txt")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]int{}
	for line := range strings.Lines(string(text)) {
		if line = strings.TrimSpace(line); line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		name, rest, _ := strings.Cut(line, ":")
		var n int
		if _, err := fmt.Sscan(rest, &n); err != nil {
			t.Fatalf("cannot read the limit in %q of house.txt: %v", line, err)
		}
		out[name] = n
	}
	return out
}

// loadRooms checks the types of the packages that are measured.
func loadRooms(t *testing.T) []*loaded {
	t.Helper()
	l := &loader{fset: token.NewFileSet(), files: map[string][]*ast.File{}, done: map[string]*loaded{}}
	for _, s := range sources(t) {
		if s.test || !within(s.dir, []string{"analyzer"}) {
			continue
		}
		f, err := parser.ParseFile(l.fset, root+"/"+s.path, nil, parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		l.files["strokewise/"+s.dir] = append(l.files["strokewise/"+s.dir], f)
	}
	var out []*loaded
	for _, path := range slices.Sorted(maps.Keys(l.files)) {
		if dir := strings.TrimPrefix(path, "strokewise/"); within(dir, rooms) && !within(dir, below) {
			out = append(out, l.load(path))
		}
	}
	return out
}

// The analyzer's shape gets better, never worse: no figure passes its limit in house.txt, and limits only fall. A change that
// raises one needs another place; where there is none, its commit raises the limit by hand and says why.
func TestTheHouseGetsSmaller(t *testing.T) {
	now, limit := house(loadRooms(t)), limits(t)
	var text strings.Builder
	text.WriteString("# What the shape of the analyzer may be at most (" + strings.Join(rooms, ", ") + " without " + strings.Join(below, ", ") + ", without tests), and what it is to be. go test ./cmd/internal/layout -run House -update lowers the limits.\n")
	for i := range now {
		m := &now[i]
		max, ok := limit[m.name]
		t.Logf("%-36s %6d, at most %6d, goal %5d  %s", m.name, m.figure, max, m.goal, m.where)
		if !ok {
			max = m.figure
			if !*update {
				t.Errorf("house.txt has no limit for %s", m.name)
			}
		}
		if m.figure > max {
			t.Errorf("%s: %d, and at most %d are allowed (goal %d): %s", m.name, m.figure, max, m.goal, m.where)
		}
		fmt.Fprintf(&text, "%s: %d, goal %d\n", m.name, min(m.figure, max), m.goal)
	}
	if *update && !t.Failed() {
		if err := os.WriteFile("house.txt", []byte(text.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// The measures measure. Source of each value: counted by hand in the text beside it.
func TestMeasures(t *testing.T) {
	fset := token.NewFileSet()
	l := &loader{fset: fset, files: map[string][]*ast.File{}, done: map[string]*loaded{}}
	for i, text := range []string{`package p
// three fields
type a struct { x, y int; b }
type b struct{}
func (a) up() { down() }`, `package p
const (
	one = 1 // s, own choice
	two = 2 // s
	three = one + two
	word = "3"
)
const ( first = iota; second )
// Of a handbook.
const four, five = 4, 5
func down() { sideways() }`, `package p
func sideways() { a{}.up(); alone() }`, `package p
func alone() {}`} {
		f, err := parser.ParseFile(fset, fmt.Sprintf("/x/%d.go", i), text, parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		l.files["p"] = append(l.files["p"], f)
	}
	p := l.load("p")
	if n, where := p.largestStruct(); n != 3 || where != "p.a" {
		t.Errorf("the largest struct is %s with %d fields", where, n)
	}
	if n, where := p.largestKnot(); n != 3 || where != "p: 0.go 1.go 2.go" {
		t.Errorf("a knot of %d: %s", n, where)
	}
	if all, bare := p.constants(p.files[1]); all != 5 || bare != 2 {
		t.Errorf("%d constants, %d without a source", all, bare)
	}
}

// Source: the components of the textbook's example, by hand.
func TestKnots(t *testing.T) {
	got := knots(map[string][]string{"a": {"b"}, "b": {"c", "e"}, "c": {"d", "a"}, "d": {"d"}, "e": {"f"}, "f": {"e"}, "g": {"a"}})
	slices.SortFunc(got, func(x, y []string) int { return strings.Compare(x[0], y[0]) })
	if want := [][]string{{"a", "b", "c"}, {"d"}, {"e", "f"}, {"g"}}; !reflect.DeepEqual(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}
