package rules

import (
	"math"

	"github.com/expr-lang/expr/ast"
)

// truth makes a question of a node that is true, false or unknown.
func (x *expression) truth(n ast.Node) (func(*values) answer, error) {
	switch n := n.(type) {
	case *ast.BoolNode:
		a := answerOf(truth(n.Value))
		return func(*values) answer { return a }, nil
	case *ast.IdentifierNode:
		i, err := x.use(n)
		if err != nil {
			return nil, err
		}
		return func(v *values) answer { return answerOf(v[i]) }, nil
	case *ast.UnaryNode:
		if n.Operator == "not" || n.Operator == "!" {
			a, err := x.truth(n.Node)
			return func(v *values) answer { return not(a(v)) }, err
		}
	case *ast.BinaryNode:
		switch n.Operator {
		case "and", "&&", "or", "||":
			return x.join(n)
		case "<", ">", "<=", ">=":
			return x.comparison(n)
		}
		return nil, x.at(n, "conditions have no operator %q: use <, <=, >, >=, and, or, not, +, -, *, /", n.Operator)
	}
	return nil, x.at(n, "a condition compares quantities; %q cannot stand here", n.String())
}

// join is Kleene's and, or: one side may decide while the other is unknown.
func (x *expression) join(n *ast.BinaryNode) (func(*values) answer, error) {
	a, err := x.truth(n.Left)
	if err != nil {
		return nil, err
	}
	b, err := x.truth(n.Right)
	if err != nil {
		return nil, err
	}
	decides := no
	if n.Operator == "or" || n.Operator == "||" {
		decides = yes
	}
	return func(v *values) answer {
		l := a(v)
		if l == decides {
			return l
		}
		r := b(v)
		if r == decides || l != unknown {
			return r
		}
		return unknown
	}, nil
}

func (x *expression) comparison(n *ast.BinaryNode) (func(*values) answer, error) {
	a, ua, err := x.number(n.Left)
	if err != nil {
		return nil, err
	}
	b, ub, err := x.number(n.Right)
	if err != nil {
		return nil, err
	}
	if ua != ub {
		return nil, x.at(n, "%s is in %s, %s in %s: they cannot be compared%s", n.Left, shown(ua), n.Right, shown(ub), unitHint(ua, ub))
	}
	op := n.Operator
	return func(v *values) answer {
		l, r := a(v), b(v)
		if math.IsNaN(l) || math.IsNaN(r) {
			return unknown
		}
		switch op {
		case "<":
			return answerOf(truth(l < r))
		case ">":
			return answerOf(truth(l > r))
		case "<=":
			return answerOf(truth(l <= r))
		}
		return answerOf(truth(l >= r))
	}, nil
}

// number makes a figure of a node, with its unit. NaN is unknown.
func (x *expression) number(n ast.Node) (func(*values) float64, string, error) {
	switch n := n.(type) {
	case *ast.IntegerNode:
		c := float64(n.Value)
		return func(*values) float64 { return c }, "1", nil
	case *ast.FloatNode:
		c := n.Value
		return func(*values) float64 { return c }, "1", nil
	case *ast.IdentifierNode:
		for _, u := range units {
			if u.Name == n.Value {
				return func(*values) float64 { return u.Value }, u.Unit, nil
			}
		}
		i, err := x.use(n)
		if err != nil {
			return nil, "", err
		}
		return func(v *values) float64 { return v[i] }, quantities[i].Unit, nil
	case *ast.UnaryNode:
		if a, u, err := x.number(n.Node); n.Operator == "-" || err != nil {
			return func(v *values) float64 { return -a(v) }, u, err
		}
	case *ast.BinaryNode:
		return x.arithmetic(n)
	}
	return nil, "", x.at(n, "a figure is wanted; %q cannot stand here", n.String())
}

func (x *expression) arithmetic(n *ast.BinaryNode) (func(*values) float64, string, error) {
	a, ua, err := x.number(n.Left)
	if err != nil {
		return nil, "", err
	}
	b, ub, err := x.number(n.Right)
	if err != nil {
		return nil, "", err
	}
	switch n.Operator {
	case "+", "-":
		sign := 1.0
		if n.Operator == "-" {
			sign = -1
		}
		if ua != ub {
			return nil, "", x.at(n, "%s is in %s, %s in %s: they cannot be added or subtracted", n.Left, shown(ua), n.Right, shown(ub))
		}
		return func(v *values) float64 { return a(v) + sign*b(v) }, ua, nil
	case "*":
		if ua != "1" && ub != "1" {
			return nil, "", x.at(n, "a product of %s and %s is no quantity that is known here", shown(ua), shown(ub))
		}
		if ua == "1" {
			ua = ub
		}
		return func(v *values) float64 { return a(v) * b(v) }, ua, nil
	case "/":
		if ub == ua {
			ua, ub = "1", "1"
		}
		if ub != "1" {
			return nil, "", x.at(n, "a quotient of %s and %s is no quantity that is known here", shown(ua), shown(ub))
		}
		return func(v *values) float64 { return quotient(a(v), b(v)) }, ua, nil
	}
	return nil, "", x.at(n, "figures have no operator %q here: use +, -, *, /", n.Operator)
}

// quotient is unknown where it divides by nothing.
func quotient(a, b float64) float64 {
	if b == 0 {
		return nan
	}
	return a / b
}

// use notes a quantity and gives its number.
func (x *expression) use(n *ast.IdentifierNode) (int, error) {
	i, ok := quantityOf(n.Value)
	if !ok {
		return 0, x.at(n, "%q is no quantity", n.Value)
	}
	for _, have := range x.uses {
		if have == i {
			return i, nil
		}
	}
	x.uses = append(x.uses, i)
	return i, nil
}

func answerOf(v float64) answer {
	switch {
	case math.IsNaN(v):
		return unknown
	case v != 0:
		return yes
	}
	return no
}

func not(a answer) answer {
	switch a {
	case yes:
		return no
	case no:
		return yes
	}
	return unknown
}

func shown(unit string) string {
	if unit == "1" {
		return "plain numbers"
	}
	return unit
}

// unitHint tells how to write a figure with a unit.
func unitHint(a, b string) string {
	if a == "1" {
		a = b
	}
	for _, u := range units {
		if u.Unit == a && u.Value != 1 {
			return "; write figures with their unit, as in 5 * " + u.Name
		}
	}
	return ""
}
