package layout

import (
	"fmt"
	"go/ast"
	"go/constant"
	"go/token"
	"go/types"
	"regexp"
	"strings"
)

// rooms are the parts of the analyzer whose shape is held: all that concludes from samples. The leaf, the
// gas laws and the numerics are below them.
var rooms = []string{"analyzer"}

// below are the parts of rooms that are not measured.
var below = []string{"analyzer/station", "analyzer/air", "analyzer/signal"}

// measure is a figure of the analyzer's shape.
type measure struct {
	name   string
	goal   int
	figure int
	where  string // what makes it
}

// house measures packages that were loaded.
func house(packages []*loaded) []measure {
	fields, lines, knots, named, bare := measure{name: "fields of the largest struct", goal: 16}, measure{name: "lines", goal: 5500},
		measure{name: "files of the largest knot of calls", goal: 3}, measure{name: "named constants", goal: 200}, measure{name: "constants without a source", goal: 0}
	for _, p := range packages {
		fields.raise(p.largestStruct())
		knots.raise(p.largestKnot())
		for _, f := range p.files {
			lines.figure += p.fset.File(f.Pos()).LineCount()
			all, none := p.constants(f)
			named.figure, bare.figure = named.figure+all, bare.figure+none
		}
	}
	return []measure{fields, lines, knots, named, bare}
}

// raise makes a larger figure the measure's.
func (m *measure) raise(figure int, where string) {
	if figure > m.figure {
		m.figure, m.where = figure, where
	}
}

// loaded is a package with the objects that its identifiers name. What other packages declare has
// no type unless they are of this tree.
type loaded struct {
	path  string
	fset  *token.FileSet
	files []*ast.File
	info  types.Info
	types *types.Package
}

// loader checks the types of the tree's packages, each once.
type loader struct {
	fset  *token.FileSet
	files map[string][]*ast.File // by import path, without tests
	done  map[string]*loaded
}

// Import implements types.Importer.
func (l *loader) Import(path string) (*types.Package, error) {
	if len(l.files[path]) == 0 {
		return nil, fmt.Errorf("%s is not of this tree", path)
	}
	return l.load(path).types, nil
}

func (l *loader) load(path string) *loaded {
	if p := l.done[path]; p != nil {
		return p
	}
	p := &loaded{path: path, fset: l.fset, files: l.files[path],
		info: types.Info{Defs: map[*ast.Ident]types.Object{}, Uses: map[*ast.Ident]types.Object{}, Selections: map[*ast.SelectorExpr]*types.Selection{}}}
	l.done[path] = p
	c := types.Config{Importer: l, Error: func(error) {}} // of packages that are not of this tree
	p.types, _ = c.Check(path, l.fset, p.files, &p.info)
	return p
}

// largestStruct returns the most fields of a struct type, and its name.
func (p *loaded) largestStruct() (most int, where string) {
	for _, f := range p.files {
		ast.Inspect(f, func(n ast.Node) bool {
			t, ok := n.(*ast.TypeSpec)
			if !ok {
				return true
			}
			if s, ok := t.Type.(*ast.StructType); ok && s.Fields.NumFields() > most {
				most, where = s.Fields.NumFields(), p.types.Name()+"."+t.Name.Name
			}
			return true
		})
	}
	return most, where
}

// sourced are words by which a comment says where a constant comes from.
var sourced = regexp.MustCompile(`(?i)source|own choice|common practice|common statistics|ISO \d|handbook|from memory|by definition|definition|fitted|virtual stations|quantile|standard normal`)

// constants counts the numbers that a file names, and those of them whose comment does not say where they come from. What is
// counted by iota is a name, no number.
func (p *loaded) constants(f *ast.File) (all, bare int) {
	for _, d := range f.Decls {
		g, ok := d.(*ast.GenDecl)
		if !ok || g.Tok != token.CONST {
			continue
		}
		for _, s := range g.Specs {
			v := s.(*ast.ValueSpec)
			for i, name := range v.Names {
				if i >= len(v.Values) || counts(v.Values[i]) || !p.number(name) {
					continue
				}
				all++
				if !sourced.MatchString(g.Doc.Text() + v.Doc.Text() + v.Comment.Text()) {
					bare++
				}
			}
		}
	}
	return all, bare
}

// number reports whether a constant is a number.
func (p *loaded) number(name *ast.Ident) bool {
	c, ok := p.info.Defs[name].(*types.Const)
	if !ok {
		return false
	}
	switch c.Val().Kind() {
	case constant.Int, constant.Float, constant.Unknown: // the last: by a constant of another package
		return true
	}
	return false
}

// counts reports whether an expression counts by iota.
func counts(x ast.Expr) (found bool) {
	ast.Inspect(x, func(n ast.Node) bool {
		id, ok := n.(*ast.Ident)
		found = found || ok && id.Name == "iota"
		return !found
	})
	return found
}

// fileOf returns the name of the file that a position lies in.
func (p *loaded) fileOf(at token.Pos) string {
	name := p.fset.File(at).Name()
	return name[strings.LastIndexAny(name, `/\`)+1:]
}
