package reanalyse

import (
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/rules"
)

// some gives occurrences of one alarm from raise and end, s.
func some(times ...[2]int64) []*Occurrence {
	var out []*Occurrence
	for _, t := range times {
		o := &Occurrence{Alarm: "a", Raised: at(t[0])}
		if t[1] != 0 {
			o.Ended = at(t[1])
		}
		out = append(out, o)
	}
	return out
}

func TestPairs(t *testing.T) {
	type times = [][2]int64
	for _, c := range []struct {
		name    string
		was, is times
		want    times // raised: was, is; 0: none
	}{
		{"equal raises come before near ones", times{{100, 120}, {130, 200}}, times{{130, 200}}, times{{100, 0}, {130, 130}}},
		{"overlap", times{{100, 400}}, times{{300, 500}}, times{{100, 300}}},
		{"within a minute", times{{100, 110}}, times{{160, 170}}, times{{100, 160}}},
		{"beyond a minute", times{{100, 110}}, times{{161, 170}}, times{{100, 0}, {0, 161}}},
		{"one long for many short", times{{100, 900}}, times{{90, 200}, {300, 400}}, times{{100, 90}, {0, 300}}},
		{"still open", times{{100, 0}}, times{{500, 0}}, times{{100, 500}}},
		{"stood before the span", times{{10, 0}}, times{{300, 0}}, nil},
		{"raised behind the span", nil, times{{1000, 0}}, nil},
	} {
		got := pairs(some(c.was...), some(c.is...), at(50), at(1000))
		if len(got) != len(c.want) {
			t.Errorf("%s: %d pairs, want %d", c.name, len(got), len(c.want))
			continue
		}
		for i, p := range got {
			if raisedOf(p.Was) != c.want[i][0] || raisedOf(p.Is) != c.want[i][1] {
				t.Errorf("%s: pair %d is %+v and %+v", c.name, i, p.Was, p.Is)
			}
		}
	}
}

func raisedOf(o *Occurrence) int64 {
	if o == nil {
		return 0
	}
	return o.Raised.Sub(btStart) / station.Second
}

// What was shelved before the log began is so in the back-test, and what was normal is not.
func TestStanding(t *testing.T) {
	list := []rules.Transition{
		{Alarm: "a", To: rules.Unacknowledged, At: 10, Raised: 10}, {Alarm: "b", To: rules.Unacknowledged, At: 20, Raised: 20},
		{Alarm: "a", From: rules.Unacknowledged, To: rules.Shelved, At: 30, Raised: 10}, {Alarm: "b", To: rules.Normal, At: 40, Raised: 20},
		{Alarm: "c", To: rules.Unacknowledged, At: 60, Raised: 60},
	}
	if got := standing(list, 50); len(got) != 1 || got[0].To != rules.Shelved {
		t.Errorf("at 50: %+v", got)
	}
	if got := standing(list, 60); len(got) != 2 || got[1].Alarm != "c" {
		t.Errorf("at 60: %+v", got)
	}
}

// What was shelved before the log's first record comes back from the shelf at its end.
func TestShelvedBeforeTheLogBegins(t *testing.T) {
	plate := station.Plate{Key: station.Key{Site: "northdock", Station: "press-4"}}
	u := pipeline.New(plate, "1")
	if err := u.Command(&station.Command{Kind: "shelve", Alarm: rules.OutletLeak, By: "Ada", Note: "fitter ordered", Until: at(3600)}, at(0)); err != nil {
		t.Fatal(err)
	}
	r := run{of: Station{plate, "1"}, was: u.Take().Transitions}
	r.record(&station.Record{Key: plate.Key, Arrival: at(100), Epoch: &station.Epoch{Revision: "1", Plate: plate}})
	leak := func() (out []rules.Transition) {
		for _, x := range r.is {
			if x.Alarm == rules.OutletLeak {
				out = append(out, x)
			}
		}
		return out
	}
	r.tick(&station.Record{Tick: true, Arrival: at(3599)})
	if got := leak(); len(got) != 1 || got[0].To != rules.Shelved {
		t.Fatalf("before the end: %+v", got)
	}
	r.tick(&station.Record{Tick: true, Arrival: at(3600)})
	if got := leak(); len(got) != 2 || got[1].From != rules.Shelved || got[1].At != at(3600) {
		t.Errorf("at the end: %+v", got)
	}
}
