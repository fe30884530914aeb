package intake

import (
	"slices"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/mapping"
	"strokewise/collector/payload"
	"strokewise/collector/topic"
)

// newPlant returns an intake of two stations on one topic of JSON, SenML or whatever auto finds.
func newPlant(t testing.TB, took *[]string) *Intake {
	t.Helper()
	p, err := topic.CompilePartly("plant")
	if err != nil {
		t.Fatal(err)
	}
	names, err := topic.CompileName("{station}:{channel}")
	if err != nil {
		t.Fatal(err)
	}
	in, err := New(Options{Routes: []Route{{Pattern: p, Mapping: &mapping.Mapping{Names: names}}}, Site: "a",
		Stations: []station.Key{{Site: "a", Station: "s1"}, {Site: "a", Station: "s2"}},
		Took:     func(topic string, f payload.Format) { *took = append(*took, topic+" "+f.String()) }})
	if err != nil {
		t.Fatal(err)
	}
	return in
}

// A pack with values of two stations gives a record of each; what is bad in it is lost alone, under its
// reason, and what is foreign is skipped.
func TestAPackOfManyStations(t *testing.T) {
	var took []string
	in := newPlant(t, &took)
	m := Message{Topic: "plant", Arrival: now, Payload: []byte(`[{"bt":1767225600,"bu":"Pa"},{"n":"s1:outlet_pressure","v":612000},{"n":"s2:outlet_pressure","v":613000},
		{"n":"s2:outlet_pressure","t":1,"v":613100},{"n":"s2:inlet_pressure","v":1e9},{"n":"s2:cycles","u":"count","v":1.5},{"n":"s1:inlet_pressure","v":"x"},
		{"n":"s1:inlet_pressure","t":-9e8,"v":1},{"n":"s3:cycles","u":"count","v":1},{"n":"s1:humidity","u":"%RH","v":40}]`)}
	got, r := in.Accept(&m)
	if r != nil {
		t.Fatal(r)
	}
	var keys []string
	samples := 0
	got.Each(func(rec *station.Record) { keys, samples = append(keys, rec.Key.String()), samples+rec.Samples() })
	if !slices.Equal(keys, []string{"a/s1", "a/s2"}) || samples != 3 {
		t.Errorf("%v, %d samples", keys, samples)
	}
	var lost []string
	for _, l := range got.Lost {
		lost = append(lost, string(l.Reason))
	}
	want := []payload.Reason{ImplausiblePressure, ImplausibleCount, payload.BadSenML, TimeTooOld, UnknownStation}
	for _, x := range want {
		if !slices.Contains(lost, string(x)) || in.Refused()[string(x)] != 1 {
			t.Errorf("lost %v, want %s once", lost, x)
		}
	}
	if len(lost) != len(want) {
		t.Errorf("lost %v", lost)
	}
	if !slices.Equal(took, []string{"plant senml"}) {
		t.Errorf("took %v", took)
	}
	in.Accept(&m)
	if len(took) != 1 {
		t.Errorf("it is told %d times", len(took))
	}
}

// A message is refused where none of its readings is left, with how many there were.
func TestAllReadingsLost(t *testing.T) {
	var took []string
	in := newPlant(t, &took)
	_, r := in.Accept(&Message{Topic: "plant", Arrival: now, Payload: []byte(`[{"bt":1767225600,"n":"s1:outlet_pressure","u":"Pa","v":1e9},{"n":"s1:cycles","v":1.5}]`)})
	if r == nil || r.Reason != ImplausiblePressure || !strings.Contains(r.Detail, "and 1 more") || !strings.Contains(r.Detail, "auto took the payload for SenML") {
		t.Errorf("got %v", r)
	}
}

// A whole number without unit that no pressure can be is taken for the count of a card; numbers with a
// unit or a fraction, and pressures of high-pressure boosters, are not.
func TestRawCounts(t *testing.T) {
	in := newIntake(t)
	for data, want := range map[string]payload.Reason{"27648": RawCount, "13824": RawCount, "-32768": RawCount, "65535": RawCount, "10000": "", "4000": "", "612.4": "",
		"13824.5": "", "-150": ImplausiblePressure, "2e9": ImplausiblePressure} {
		_, r := in.Accept(&Message{Topic: pressure, Payload: []byte(data), Arrival: now})
		if (r == nil) != (want == "") || r != nil && r.Reason != want {
			t.Errorf("%s: got %v, want %q", data, r, want)
		}
	}
}

// A message whose values wait in a queue has no time of arrival that counts, and a retained one neither.
func TestReadingsStampedOnArrival(t *testing.T) {
	var took []string
	for _, m := range []Message{{Retained: true}, {Backlog: true}, {Undated: true}} {
		in := newPlant(t, &took)
		m.Topic, m.Arrival, m.Payload = "plant", now, []byte(`[{"n":"s1:outlet_pressure","u":"Pa","v":612000},{"n":"s2:outlet_pressure","t":1767225599,"u":"Pa","v":612000}]`)
		got, r := in.Accept(&m)
		if r != nil || got.Key.Station != "s2" || len(got.Lost) != 1 {
			t.Errorf("%+v: got %+v, %v", m, got, r)
		}
	}
}

// BenchmarkScalar is what a plain number costs.
func BenchmarkScalar(b *testing.B) {
	in := newIntake(b)
	m := Message{Topic: pressure, Payload: []byte("612.4"), Arrival: now}
	b.ReportAllocs()
	for b.Loop() {
		if _, r := in.Accept(&m); r != nil {
			b.Fatal(r)
		}
	}
}
