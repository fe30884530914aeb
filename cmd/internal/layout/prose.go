package layout

import (
	"go/ast"
	"go/token"
	"slices"
	"strconv"
)

// proseNames are fields and methods that hold words for people. No code decides by what they say:
// whoever rewords a message would change what the program does.
var proseNames = []string{"Message", "Reason", "StateReason", "Why", "Note", "Text", "Detail", "Document", "LastError", "Caution", "Told"}

// proseMethods are methods beside those that return such words.
var proseMethods = []string{"Words", "Error", "From", "Shown", "Line"}

// proseIdents are variables that hold such words by their name.
var proseIdents = []string{"message", "reason", "why", "note", "detail", "told", "prose"}

// readers are functions that look into a text, by package.
var readers = map[string][]string{
	"strings": {"Contains", "ContainsAny", "ContainsFunc", "ContainsRune", "HasPrefix", "HasSuffix", "Cut", "CutPrefix", "CutSuffix", "EqualFold",
		"Index", "IndexAny", "IndexByte", "IndexRune", "LastIndex", "LastIndexByte", "Split", "SplitN", "SplitAfter", "Fields", "FieldsFunc", "Count", "Compare", "TrimPrefix", "TrimSuffix"},
	"slices":  {"Contains", "Index"},
	"regexp":  {"MatchString"},
	"fmt":     {"Sscan", "Sscanf"},
	"time":    {"Parse", "ParseDuration"},
	"strconv": {"Atoi", "ParseInt", "ParseUint", "ParseFloat"},
}

// matchers are methods of regular expressions that look into a text.
var matchers = []string{"MatchString", "FindString", "FindStringIndex", "FindStringSubmatch", "FindAllString", "FindAllStringSubmatch"}

// textConstants are the constants of the tree that are texts, by package name and their own.
type textConstants map[string]bool

// add collects the constants of a file that are texts of no type of their own.
func (c textConstants) add(f *ast.File) {
	for _, d := range f.Decls {
		g, ok := d.(*ast.GenDecl)
		if !ok || g.Tok != token.CONST {
			continue
		}
		for _, s := range g.Specs {
			v := s.(*ast.ValueSpec)
			for i, name := range v.Names {
				if v.Type == nil && i < len(v.Values) && isText(v.Values[i]) {
					c[f.Name.Name+"."+name.Name] = true
				}
			}
		}
	}
}

// isText reports whether an expression is a text that is not empty, as it stands.
func isText(x ast.Expr) bool {
	switch x := x.(type) {
	case *ast.BasicLit:
		s, err := strconv.Unquote(x.Value)
		return x.Kind == token.STRING && err == nil && s != ""
	case *ast.BinaryExpr:
		return x.Op == token.ADD && (isText(x.X) || isText(x.Y))
	case *ast.ParenExpr:
		return isText(x.X)
	}
	return false
}

// proseReading is a place where code reads words for people.
type proseReading struct {
	function string
	pos      token.Pos
}

// proseReadings returns where the functions of a file decide by words for people.
func proseReadings(f *ast.File, constants textConstants) []proseReading {
	var out []proseReading
	for _, d := range f.Decls {
		fn, ok := d.(*ast.FuncDecl)
		if !ok || fn.Body == nil {
			continue
		}
		r := proseReader{pkg: f.Name.Name, constants: constants, locals: map[string]bool{}}
		ast.Inspect(fn.Body, r.follow)
		ast.Inspect(fn.Body, func(n ast.Node) bool {
			if r.reads(n) {
				out = append(out, proseReading{fn.Name.Name, n.Pos()})
			}
			return true
		})
	}
	return out
}

// proseReader looks at one function.
type proseReader struct {
	pkg       string
	constants textConstants
	locals    map[string]bool // variables that hold words
}

// follow notes variables that words are assigned to.
func (r *proseReader) follow(n ast.Node) bool {
	a, ok := n.(*ast.AssignStmt)
	if !ok || len(a.Lhs) != len(a.Rhs) {
		return true
	}
	for i := range a.Lhs {
		if id, ok := a.Lhs[i].(*ast.Ident); ok && r.prose(a.Rhs[i]) {
			r.locals[id.Name] = true
		}
	}
	return true
}

// prose reports whether an expression is words for people.
func (r *proseReader) prose(x ast.Expr) bool {
	switch x := x.(type) {
	case *ast.Ident:
		return r.locals[x.Name] || slices.Contains(proseIdents, x.Name)
	case *ast.SelectorExpr:
		return slices.Contains(proseNames, x.Sel.Name)
	case *ast.ParenExpr:
		return r.prose(x.X)
	case *ast.SliceExpr:
		return r.prose(x.X)
	case *ast.BinaryExpr:
		return x.Op == token.ADD && (r.prose(x.X) || r.prose(x.Y))
	case *ast.CallExpr:
		return r.proseCall(x)
	}
	return false
}

// proseCall reports whether a call returns words: a method of a name above, String of such a
// field, or a function that changes the letters of words.
func (r *proseReader) proseCall(x *ast.CallExpr) bool {
	s, ok := x.Fun.(*ast.SelectorExpr)
	if !ok {
		id, ok := x.Fun.(*ast.Ident)
		return ok && id.Name == "string" && len(x.Args) == 1 && r.prose(x.Args[0])
	}
	if pkg, ok := s.X.(*ast.Ident); ok && (pkg.Name == "strings" || pkg.Name == "fmt") {
		return pkg.Name == "strings" && len(readersOf(pkg.Name, s.Sel.Name)) == 0 && slices.ContainsFunc(x.Args, r.prose)
	}
	return slices.Contains(proseNames, s.Sel.Name) || slices.Contains(proseMethods, s.Sel.Name) || s.Sel.Name == "String" && r.prose(s.X)
}

func readersOf(pkg, name string) []string {
	if slices.Contains(readers[pkg], name) {
		return readers[pkg]
	}
	return nil
}

// reads reports whether a node looks into words: a function that does, a comparison with a text,
// a switch over texts, or a map that words are the key of.
func (r *proseReader) reads(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.CallExpr:
		s, ok := n.Fun.(*ast.SelectorExpr)
		if !ok || !slices.ContainsFunc(n.Args, r.prose) {
			return false
		}
		pkg, _ := s.X.(*ast.Ident)
		return pkg != nil && readersOf(pkg.Name, s.Sel.Name) != nil || slices.Contains(matchers, s.Sel.Name)
	case *ast.BinaryExpr:
		return (n.Op == token.EQL || n.Op == token.NEQ) && (r.prose(n.X) && r.text(n.Y) || r.prose(n.Y) && r.text(n.X))
	case *ast.IndexExpr:
		s, ok := n.Index.(*ast.SelectorExpr)
		return ok && r.prose(s)
	case *ast.SwitchStmt:
		return n.Tag != nil && r.prose(n.Tag) && slices.ContainsFunc(n.Body.List, r.caseOfText)
	}
	return false
}

func (r *proseReader) caseOfText(s ast.Stmt) bool {
	return slices.ContainsFunc(s.(*ast.CaseClause).List, r.text)
}

// text reports whether an expression is a text, as it stands or as a constant's name.
func (r *proseReader) text(x ast.Expr) bool {
	switch x := x.(type) {
	case *ast.Ident:
		return r.constants[r.pkg+"."+x.Name]
	case *ast.SelectorExpr:
		pkg, ok := x.X.(*ast.Ident)
		return ok && r.constants[pkg.Name+"."+x.Sel.Name]
	}
	return isText(x)
}
