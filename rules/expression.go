package rules

import (
	"errors"
	"fmt"
	"strings"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/vm"
)

// expression is a condition. The library reads it, resolves its names and checks its
// types; ask walks the checked tree with three truths, in which unknown spreads unless the
// other side decides alone, and without allocation. The library's own program, of
// two truths, is kept to check ask against.
type expression struct {
	source  string
	ask     func(*values) answer
	program *vm.Program
	uses    []int // quantities, each once
}

// place is where in an expression something is wrong, both from 1.
type place struct {
	line, column int
	what         string
}

func (p *place) Error() string { return p.what }

// environment gives names and types to the library.
var environment = func() map[string]any {
	env := map[string]any{}
	for i := range quantities {
		env[quantities[i].Name] = 0.0
		if quantities[i].Unit == "truth" {
			env[quantities[i].Name] = false
		}
	}
	for i := range units {
		env[units[i].Name] = units[i].Value
	}
	return env
}()

// mostCondition is the longest condition, bytes: the library's parser goes as deep as brackets are nested. The
// longest of the catalogue has some hundreds. Own choice.
const mostCondition = 4 << 10

// compile reads a condition. Its error is a *place.
func compile(source string) (*expression, error) {
	if len(source) > mostCondition {
		return nil, &place{1, 1, fmt.Sprintf("the condition has %d bytes, %d at most are read", len(source), mostCondition)}
	}
	program, err := expr.Compile(source, expr.Env(environment), expr.AsBool(), expr.Optimize(false), expr.DisableAllBuiltins())
	if err != nil {
		return nil, placeOf(err)
	}
	x := &expression{source: source, program: program}
	ask, err := x.truth(program.Node())
	if err != nil {
		return nil, err
	}
	x.ask = ask
	return x, nil
}

// placeOf puts the library's error in our words, with the nearest name.
func placeOf(err error) *place {
	var f *file.Error
	if !errors.As(err, &f) {
		return &place{1, 1, err.Error()}
	}
	p := &place{f.Line, f.Column + 1, f.Message}
	if name, ok := strings.CutPrefix(f.Message, "unknown name "); ok {
		p.what = fmt.Sprintf("%q is no quantity", name)
		if n := nearest(name, names()); n != "" {
			p.what += fmt.Sprintf("; did you mean %q?", n)
		} else {
			p.what += "; `strokewise alarms quantities` lists them"
		}
	}
	return p
}

func names() []string {
	var all []string
	for n := range environment {
		all = append(all, n)
	}
	return all
}

// at says that something is wrong with a node.
func (x *expression) at(n ast.Node, format string, args ...any) error {
	from := min(n.Location().From, len([]rune(x.source)))
	before := string([]rune(x.source)[:from])
	line := strings.Count(before, "\n")
	return &place{line + 1, len([]rune(before[strings.LastIndex(before, "\n")+1:])) + 1, fmt.Sprintf(format, args...)}
}
