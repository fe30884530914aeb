package layout

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// root is the top of the tree.
const root = "../../.."

// source is a Go file of the tree.
type source struct {
	path string // from the root, with slashes
	dir  string
	test bool
	file *ast.File
	fset *token.FileSet
}

func sources(t *testing.T) []source {
	t.Helper()
	var out []source
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && strings.HasPrefix(d.Name(), ".") && d.Name() != ".." && path != root {
			return filepath.SkipDir
		}
		if !strings.HasSuffix(path, ".go") {
			return nil
		}
		fset := token.NewFileSet()
		f, err := parser.ParseFile(fset, path, nil, parser.SkipObjectResolution|parser.ParseComments)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, path)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		out = append(out, source{rel, filepath.ToSlash(filepath.Dir(rel)), strings.HasSuffix(rel, "_test.go"), f, fset})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(out) < 50 {
		t.Fatalf("only %d files found", len(out))
	}
	return out
}

func TestImports(t *testing.T) {
	for _, s := range sources(t) {
		for _, i := range s.file.Imports {
			path, err := strconv.Unquote(i.Path.Value)
			if err != nil {
				t.Fatal(err)
			}
			for k := range rules {
				r := &rules[k]
				if (!s.test || r.tests) && r.covers(s.dir) && r.bans(path) {
					t.Errorf("%s imports %s: %s", s.path, path, r.why)
				}
			}
		}
	}
}

// The rules must be able to fail.
func TestRulesBite(t *testing.T) {
	for _, c := range []struct {
		dir, path string
		banned    bool
	}{
		{"analyzer/engine", "strokewise/rules", true},
		{"analyzer/engine", "strokewise/analyzer/air", false},
		{"analyzer/engine", "os", true},
		{"analyzer/engine", "log/slog", true},
		{"rules", "strokewise/analyzer/engine", true},
		{"rules", "strokewise/analyzer/station", false},
		{"rules/notify", "net/http", false},
		{"collector/intake", "strokewise/analyzer/air", true},
		{"collector/rig", "strokewise/analyzer/air", true},
		{"dashboards/web", "strokewise/collector/mqtt", true},
		{"dashboards/web", "github.com/eclipse/paho.mqtt.golang", true},
		{"cmd/internal/app", "github.com/nats-io/nats.go", true},
		{"cmd/internal/app", "strokewise/collector/mqtt", false},
		{"collector/mqtt", "github.com/eclipse/paho.mqtt.golang", false},
		{"analyzer/station", "strokewise/analyzer/air", true},
	} {
		got := false
		for k := range rules {
			got = got || rules[k].covers(c.dir) && rules[k].bans(c.path)
		}
		if got != c.banned {
			t.Errorf("%s importing %s: banned %v, want %v", c.dir, c.path, got, c.banned)
		}
	}
}

// The pure core reads no clock, prints nothing and starts no goroutine.
func TestPurity(t *testing.T) {
	for _, s := range sources(t) {
		if s.test || !within(s.dir, pure) || s.dir == "rules/notify" {
			continue
		}
		ast.Inspect(s.file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.GoStmt:
				t.Errorf("%s starts a goroutine: an engine is the only writer of its station", s.fset.Position(n.Pos()))
			case *ast.SelectorExpr:
				if p, ok := n.X.(*ast.Ident); ok && slices.Contains(impure[p.Name], n.Sel.Name) {
					t.Errorf("%s uses %s.%s: time is an argument, and results go to the observer", s.fset.Position(n.Pos()), p.Name, n.Sel.Name)
				}
			}
			return true
		})
	}
}

// Where the program may send, and that no answer leads elsewhere, is decided once.
func TestOneMakerOfClients(t *testing.T) {
	const maker, plant = "rules/notify/egress", "cmd/internal/scene" // the scenes ask their own pages, and peers are started by tests
	made := 0
	for _, s := range sources(t) {
		if s.test || s.dir == plant || within(s.dir, []string{"deploy/peers"}) {
			continue
		}
		ast.Inspect(s.file, func(n ast.Node) bool {
			x, ok := n.(*ast.SelectorExpr)
			if !ok || x.Sel.Name != "Client" && x.Sel.Name != "DefaultClient" {
				return true
			}
			if p, ok := x.X.(*ast.Ident); !ok || p.Name != "http" || x.Sel.Name == "Client" && !madeAt(s.file, x) {
				return true
			}
			if made++; s.dir != maker {
				t.Errorf("%s makes an HTTP client: take one of %s, which limits addresses and follows no redirect", s.fset.Position(x.Pos()), maker)
			}
			return true
		})
	}
	if made == 0 {
		t.Error("no client is found")
	}
}

// madeAt reports whether a type is that of a composite literal.
func madeAt(f *ast.File, typ ast.Expr) (made bool) {
	ast.Inspect(f, func(n ast.Node) bool {
		c, ok := n.(*ast.CompositeLit)
		made = made || ok && c.Type == typ
		return !made
	})
	return made
}

// Exported names of the program's packages say what they are.
func TestExportedNamesAreDocumented(t *testing.T) {
	for _, s := range sources(t) {
		if s.test || strings.HasSuffix(s.path, ".pb.go") {
			continue
		}
		for _, d := range s.file.Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				if d.Name.IsExported() && d.Doc == nil && (d.Recv == nil || ast.IsExported(receiver(d))) {
					t.Errorf("%s: %s has no comment", s.fset.Position(d.Pos()), d.Name.Name)
				}
			case *ast.GenDecl:
				for _, sp := range d.Specs {
					if ts, ok := sp.(*ast.TypeSpec); ok && ts.Name.IsExported() && d.Doc == nil && ts.Doc == nil {
						t.Errorf("%s: %s has no comment", s.fset.Position(ts.Pos()), ts.Name.Name)
					}
				}
			}
		}
	}
}

func receiver(d *ast.FuncDecl) string {
	x := d.Recv.List[0].Type
	if p, ok := x.(*ast.StarExpr); ok {
		x = p.X
	}
	if id, ok := x.(*ast.Ident); ok {
		return id.Name
	}
	return ""
}

// Only the folders of the design stand at the top, and what .gitignore says is made there.
func TestTopLevel(t *testing.T) {
	allowed := strings.Fields("collector analyzer rules dashboards cmd deploy go.mod go.sum README.md SECURITY.md DEVELOPERS.md LICENSE CHANGELOG.md Makefile")
	entries, err := os.ReadDir(root)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") && !slices.Contains(allowed, e.Name()) && !made(t, e.Name()) {
			t.Errorf("%s does not belong at the top", e.Name())
		}
	}
}

// made reports whether .gitignore has the name of what commands leave at the top.
func made(t *testing.T, name string) bool {
	text, err := os.ReadFile(filepath.Join(root, ".gitignore"))
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Fields(string(text)) {
		if pattern, atTop := strings.CutPrefix(line, "/"); atTop {
			if ok, err := filepath.Match(strings.TrimSuffix(pattern, "/"), name); ok && err == nil {
				return true
			}
		}
	}
	return false
}

var quoted = regexp.MustCompile("`([^`\n]+)`")

// Paths that the developers' document names exist.
func TestDocumentedPathsExist(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, m := range quoted.FindAllStringSubmatch(string(text), -1) {
		p := m[1]
		first, _, _ := strings.Cut(p, "/")
		if !slices.Contains([]string{"analyzer", "rules", "collector", "dashboards", "cmd", "deploy", ".ci"}, first) || strings.ContainsAny(p, " {}*<>") {
			continue
		}
		checked++
		if _, err := os.Stat(filepath.Join(root, filepath.FromSlash(p))); err != nil {
			t.Errorf("DEVELOPERS.md names %s, which does not exist", p)
		}
	}
	if checked < 15 {
		t.Errorf("only %d paths found to check", checked)
	}
}

// No output of the program calls a line safe: it watches, and proves nothing.
func TestNothingIsCalledSafe(t *testing.T) {
	word := regexp.MustCompile(`(?i)\b(is|are|now|line|station|tank|outlet) safe\b|\bsafely vented\b|\bsafe to\b`)
	for _, s := range sources(t) {
		if s.test {
			continue
		}
		ast.Inspect(s.file, func(n ast.Node) bool {
			if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING && word.MatchString(l.Value) {
				t.Errorf("%s says %s", s.fset.Position(l.Pos()), l.Value)
			}
			return true
		})
	}
}

// Nothing in the tree names package hosts, folders of a workplace, or how the work is
// organised.
func TestNoForeignNames(t *testing.T) {
	words := []string{"/wo" + "rk/", "pro" + "xy.golang", "sum.gol" + "ang", "art" + "ifactory", "seed docu" + "ment", "trans" + "cript"}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.Name() == ".git" && d.IsDir():
			return filepath.SkipDir
		case d.Name() == ".git" || d.IsDir(): // the former in a linked work tree
			return nil
		}
		if d.Name() == ".git" { // a file, in a second working tree
			return nil
		}
		info, err := d.Info()
		if err != nil || info.Size() > 1<<20 || strings.HasSuffix(path, ".gz") || d.Name() == "go.sum" {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		for _, w := range words {
			if strings.Contains(strings.ToLower(string(text)), w) {
				t.Errorf("%s names %q", path, w)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
