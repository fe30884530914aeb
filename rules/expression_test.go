package rules

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/expr-lang/expr"
)

// Kleene's three truths: unknown spreads unless the other side decides alone.
func TestThreeTruths(t *testing.T) {
	var v values
	v[qOutlet], v[qInlet], v[qSag], v[qStarved], v[qFed] = nan, 600e3, 0.2, nan, 1
	for source, want := range map[string]answer{
		"outlet_pressure > 5 * kPa":                                unknown,
		"inlet_pressure > 5 * kPa":                                 yes,
		"inlet_pressure > 900 * kPa and outlet_pressure > 5 * kPa": no,
		"outlet_pressure > 5 * kPa and inlet_pressure > 900 * kPa": no,
		"outlet_pressure > 5 * kPa and inlet_pressure > 5 * kPa":   unknown,
		"inlet_pressure > 5 * kPa and outlet_pressure > 5 * kPa":   unknown,
		"outlet_pressure > 5 * kPa or inlet_pressure > 5 * kPa":    yes,
		"inlet_pressure > 900 * kPa or outlet_pressure > 5 * kPa":  unknown,
		"not starved":                    unknown,
		"not fed":                        no,
		"fed and not (supply_sag < 0.1)": yes,
		"(outlet_pressure - inlet_pressure) / inlet_pressure > 1":       unknown,
		"inlet_pressure / (inlet_pressure - inlet_pressure) > 1":        unknown,
		"supply_sag >= 20 * percent and -supply_sag <= -20 * percent":   yes,
		"2 * inlet_pressure - 100 * kPa > inlet_pressure + 499.9 * kPa": yes,
	} {
		x, err := compile(source)
		if err != nil {
			t.Errorf("%s: %v", source, err)
			continue
		}
		if got := x.ask(&v); got != want {
			t.Errorf("%s is %d, want %d", source, got, want)
		}
	}
}

// Mistakes are told with place and nearest name.
func TestMistakesInConditions(t *testing.T) {
	for _, c := range []struct {
		source       string
		line, column int
		what         string
	}{
		{"outlet_presure > 5 * kPa", 1, 1, `"outlet_presure" is no quantity; did you mean "outlet_pressure"?`},
		{"fed and\n outlet_presure > 5 * kPa", 2, 2, `"outlet_presure" is no quantity; did you mean "outlet_pressure"?`},
		{"outlet_pressure > 5", 1, 17, "outlet_pressure is in Pa, 5 in plain numbers: they cannot be compared; write figures with their unit, as in 5 * kPa"},
		{"outlet_pressure > 5 * seconds", 1, 17, "outlet_pressure is in Pa, 5 * seconds in s: they cannot be compared; write figures with their unit, as in 5 * kPa"},
		{"outlet_pressure + supply_sag > 1 * Pa", 1, 17, "outlet_pressure is in Pa, supply_sag in plain numbers: they cannot be added or subtracted"},
		{"outlet_pressure * inlet_pressure > 1 * Pa", 1, 17, "a product of Pa and Pa is no quantity that is known here"},
		{"state_seconds / outlet_pressure > 1", 1, 15, "a quotient of s and Pa is no quantity that is known here"},
		{"supply_sag == 0.1", 1, 12, `conditions have no operator "==": use <, <=, >, >=, and, or, not, +, -, *, /`},
		{"supply_sag ** 2 > 0.1", 1, 12, `figures have no operator "**" here: use +, -, *, /`},
		{"fed ? starved : holding", 1, 23, `a condition compares quantities; "fed ? starved : holding" cannot stand here`},
	} {
		_, err := compile(c.source)
		var p *place
		if !errors.As(err, &p) {
			t.Errorf("%s is taken", c.source)
			continue
		}
		if p.line != c.line || p.column != c.column || p.what != c.what {
			t.Errorf("%q: %d:%d %s\nwant %d:%d %s", c.source, p.line, p.column, p.what, c.line, c.column, c.what)
		}
	}
	for _, source := range []string{"", "fed and", "supply_sag", "fed and 1", "len(\"a\") > 1", "fed + 1 > 2", "let x = 1; fed", "fed; fed", "-fed", "supply_sag > true"} {
		if _, err := compile(source); err == nil {
			t.Errorf("%q is taken", source)
		}
	}
}

// Where everything is known, our walk over the tree and the library's own program agree:
// each condition of the catalogue and some more, with a thousand draws each.
func TestConditionsAgreeWithTheLibrary(t *testing.T) {
	sources := []string{"not (fed and starved) or supply_sag * 2 - 0.1 >= pulsation / 3", "1 > 0 and -supply_sag < 0 or true"}
	for _, d := range Catalogue() {
		for _, s := range []string{d.Condition, d.Clear} {
			if s != "" {
				sources = append(sources, s)
			}
		}
	}
	r := rand.New(rand.NewPCG(1, 2))
	yeses := 0
	for _, source := range sources {
		x, err := compile(source)
		if err != nil {
			t.Fatal(err)
		}
		for range 1000 {
			var v values
			env := map[string]any{}
			for k, u := range environment {
				env[k] = u
			}
			for i := range quantities {
				v[i] = math.Exp(20*r.Float64() - 6)
				env[quantities[i].Name] = v[i]
				if quantities[i].Unit == "truth" {
					v[i] = float64(r.IntN(2))
					env[quantities[i].Name] = v[i] == 1
				}
			}
			got, err := expr.Run(x.program, env)
			if err != nil {
				t.Fatal(err)
			}
			if want := answerOf(truth(got.(bool))); x.ask(&v) != want {
				t.Fatalf("%s: ours %d, the library's %v", source, x.ask(&v), got)
			}
			if got.(bool) {
				yeses++
			}
		}
	}
	if yeses < 1000 {
		t.Errorf("only %d draws were true: the test tells little", yeses)
	}
}
