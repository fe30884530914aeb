package rules

import (
	"testing"

	"strokewise/analyzer/station"
)

// Use that was seen to end is recalled, and what was seen since is not replaced by it.
func TestUseIsRecalled(t *testing.T) {
	want := station.LearnedUse{Most: 0.001, For: 600e9, At: station.Instant(5 * station.Second), Reached: true}
	v := NewEvaluator(&station.Plate{}, func(*Transition) {})
	v.RecallLearned(&want)
	var got station.LearnedUse
	if v.Learned(&got); got != want {
		t.Errorf("recalled %+v, keeps %+v", want, got)
	}
	v.RecallLearned(&station.LearnedUse{Most: 1, For: 1, At: want.At - 1})
	if v.Learned(&got); got != want {
		t.Errorf("an older use of 1 m³/s replaced %+v by %+v", want, got)
	}
}
