package accuracy

import (
	"strokewise/analyzer/station"
	"strokewise/collector/trace/recorded"
	"strokewise/rules"
)

// Recordings returns the cases of the recordings in the repository.
func Recordings() ([]Case, error) {
	all, err := recorded.All()
	if err != nil {
		return nil, err
	}
	var out []Case
	for i := range all {
		r := &all[i]
		out = append(out, Case{Group: r.Group, Name: r.Name, Plate: r.Plate, Counter: r.Counter,
			Play: func(yield func([]station.Block)) (Truth, error) {
				return truthOf(&r.Truth), r.Play(true, yield)
			}})
	}
	return out, nil
}

// truthOf converts the truth of a recording. A fault is due between its begin and its end, both
// of which the model's author set; the seconds in which an alarm waits are part of that.
func truthOf(r *recorded.Truth) Truth {
	t := Truth{Fed: r.Fed, Stroking: r.Fed * r.Duty, Holding: r.Holding, Starved: r.Starved, Ends: r.Strokes,
		Line: r.Line, Leak: r.Leak, Traps: r.MustNot}
	for _, m := range r.Minutes {
		air := Air{m.Delivered, m.Inlet, m.Exhaust}
		t.Minutes = append(t.Minutes, Minute{air, air})
	}
	for _, f := range r.Faults {
		t.Due = append(t.Due, Due{f.Alarm, f.From, f.To})
		if f.Alarm == rules.SupplyUndersized {
			t.May = append(t.May, rules.OutletLow) // such a line lets the outlet fall below 85 % of set
		}
	}
	return t
}
