package samplelog

import "testing"

// usual are the names of a log without a prefix.
var usual = namesOf("")

// A log that was made before prefixes came keeps its names.
func TestNamesOfTheUsualPrefixStay(t *testing.T) {
	want := names{"sw", "SAMPLES", "sw_v1_lease", "sw_v1_told"}
	if usual != want || namesOf("sw") != want || usual.subject(3) != "sw.v1.samples.3" {
		t.Errorf("got %+v", usual)
	}
	if got := namesOf("plant-a"); got != (names{"plant-a", "plant-a_v1_samples", "plant-a_v1_lease", "plant-a_v1_told"}) {
		t.Errorf("got %+v", got)
	}
}
