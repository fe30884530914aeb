package rules

import "fmt"

// beyondBase returns what a leak is beyond, in words: the base demand of the plate; "" where there is none.
func (v *Evaluator) beyondBase() string {
	if v.plate.BaseDemand <= 0 {
		return ""
	}
	return fmt.Sprintf(" beyond the base demand of %.0f L/min", v.plate.BaseDemand*60e3)
}
