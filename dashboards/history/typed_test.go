package history

import (
	"database/sql"
	"os"
	"path/filepath"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// packed are rows of version 7 in which causes, services, ends of shelvings and documents stand
// within words. Source: what the program wrote then.
const packed = `
INSERT INTO stations VALUES (901, 'northdock', 'weld 9'), (902, 'northdock', 'header:main');
INSERT INTO audit (at, who, what, target, detail) VALUES
 (1000000000, 'Ana', 'close', 'northdock/weld 9 outlet-leak', 'leak: fitting: tightened'),
 (2000000000, 'Ana', 'close', 'northdock/weld 9 outlet-leak', 'drain: closed'),
 (3000000000, 'Ana', 'acknowledge', 'northdock/weld 9 starved', 'leak: seen'),
 (4000000000, 'Ana', 'done', 'northdock/weld 9', 'filter 2026-01-10: sheet 7: p. 2'),
 (5000000000, 'Ana', 'done', 'northdock/weld 9', 'filter soon: sheet 8'),
 (6000000000, 'Ana', 'inspected', 'northdock/weld 9', 'sheet 12 (no effect: see page 2)'),
 (7000000000, 'Ana', 'shelve', 'northdock/weld 9 outlet-leak', 'until 2026-01-02T03:04:05Z: leak: parts ordered'),
 (8000000000, 'Ana', 'note', 'northdock/weld 9', 'until 2026-01-02T03:04:05Z: leak: a note');
INSERT INTO notes (station, at, who, text) VALUES
 (901, 4000000000, 'Ana', 'Done on 2026-01-10: filter element, document sheet 7: p. 2'),
 (901, 8000000000, 'Ana', ' Seals changed, both sides'),
 (901, 9000000000, 'Ana', 'the overhaul is due');
INSERT INTO transitions (id, station, branch, alarm, priority, from_state, to_state, at, raised, message, caution, evidence, by, why) VALUES
 ('p1', 901, '', 'outlet-leak', 'medium', 'returned-to-normal unacknowledged', 'normal', 1000000001, 1, '', '', '[]', 'Ana', 'leak: fitting: tightened'),
 ('p2', 901, '', 'starved', 'low', 'unacknowledged', 'acknowledged', 3000000000, 1, '', '', '[]', 'Ana', 'leak: seen'),
 ('p3', 901, '', 'outlet-leak', 'medium', 'unacknowledged', 'shelved', 4000000000, 1, '', '', '[{"name":"first","value":0,"text":"x"},{"name":"shelved_until","value":0,"text":"2026-01-02T03:04:05.25Z"},{"name":"shelved_for","value":0,"text":"once: until the condition ends"}]', 'Ana', 'the time of the shelving is over'),
 ('p4', 901, '', 'outlet-leak', 'medium', 'shelved', 'unacknowledged', 5000000000, 1, '', '', '[{"name":"first","value":0,"text":"signal-lost"}]', '', 'the time of the shelving is over'),
 ('p5', 901, '', 'outlet-leak', 'medium', 'shelved', 'normal', 6000000000, 1, '', '', '[]', '', 'shelved until the condition ended, which it did');
INSERT INTO header_inputs (header, station, at, data) VALUES (902, 902, 1, '{"Kind":"close","Alarm":"header-low","By":"Ana","Note":"supply: compressor 2 back","Until":0}');
`

func TestWhatStoodWithinWordsHasColumns(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("testdata", "version7.sql"))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "history.db")
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(string(text) + packed); err != nil {
		t.Fatal(err)
	}
	db.Close()
	s := open(t, path, "phone")
	migratedActs(t, s)
	migratedTransitions(t, s)
	k := station.Key{Site: "northdock", Station: "weld 9"}
	notes, err := s.Notes(t.Context(), k, 0, ever)
	if err != nil || len(notes) != 3 || notes[0].Service != station.FilterElement || notes[0].Date != "2026-01-10" || notes[1].Service != station.SealReplacement || notes[2].Service != station.NoService {
		t.Errorf("%+v, %v", notes, err)
	}
	in, err := s.HeaderInputs(t.Context(), 0, 10)
	if err != nil || len(in) != 1 || in[0].Command.Cause != station.CauseSupply || in[0].Command.Note != "compressor 2 back" {
		t.Errorf("%+v, %v", in, err)
	}
}

func migratedActs(t *testing.T, s *Store) {
	t.Helper()
	acts, err := s.Acts(t.Context(), 1, 10*station.Instant(station.Second))
	want := []Act{
		{What: "close", Cause: station.CauseLeak, Detail: "fitting: tightened"},
		{What: "close", Detail: "drain: closed"},
		{What: "acknowledge", Detail: "leak: seen"},
		{What: "done", Service: station.FilterElement, Date: "2026-01-10", Document: "sheet 7: p. 2"},
		{What: "done", Detail: "filter soon: sheet 8"},
		{What: "inspected", Document: "sheet 12 (no effect: see page 2)"},
		{What: "shelve", Detail: "leak: parts ordered", Until: station.Instant(1767323045 * station.Second)},
		{What: "note", Detail: "until 2026-01-02T03:04:05Z: leak: a note"},
	}
	if err != nil || len(acts) != len(want) {
		t.Fatalf("%+v, %v", acts, err)
	}
	for i, a := range acts {
		w := want[i]
		w.At, w.Who, w.Target = a.At, a.Who, a.Target
		if a != w {
			t.Errorf("%+v\nwant %+v", a, w)
		}
	}
}

func migratedTransitions(t *testing.T, s *Store) {
	t.Helper()
	list, err := s.Transitions(t.Context(), station.Key{Site: "northdock", Station: "weld 9"}, 0, ever)
	want := []rules.Transition{
		{Cause: station.CauseLeak, Why: "fitting: tightened"},
		{Why: "leak: seen"},
		{Why: "the time of the shelving is over", ShelvedUntil: station.Instant(1767323045*station.Second + station.Second/4), ShelvedOnce: true},
		{ShelfEnd: rules.ShelfTimeOver, First: "signal-lost"},
		{ShelfEnd: rules.ShelfCondition},
	}
	if err != nil || len(list) != len(want) {
		t.Fatalf("%+v, %v", list, err)
	}
	for i, a := range list {
		if w := want[i]; a.Cause != w.Cause || a.Why != w.Why || a.ShelvedUntil != w.ShelvedUntil || a.ShelvedOnce != w.ShelvedOnce || a.ShelfEnd != w.ShelfEnd || a.First != w.First {
			t.Errorf("%+v\nwant %+v", a, w)
		}
	}
}

// What is stored comes back as it was, and in words as people read it.
func TestTypedFieldsComeBack(t *testing.T) {
	s := fresh(t)
	c := station.Command{Kind: "done", By: "Ana", Service: station.FilterElement, Date: "2026-01-10", Document: "sheet 7 (no effect: x)"}
	act := ActOf(press, t0, &c)
	tr := rules.Transition{Key: press, Alarm: rules.OutletLeak, From: rules.Unacknowledged, To: rules.Shelved, At: t0, Raised: t0.Add(-1), By: "Ana", Why: "wear: w",
		Cause: station.CauseLeak, ShelvedUntil: t0.Add(9), ShelvedOnce: true, ShelfEnd: rules.ShelfCondition, First: rules.SignalLost}
	do(t, s, Commit{Partition: 5, Position: 10, Acts: []Act{act}, Transitions: []rules.Transition{tr}, Notes: []Note{{Key: press, At: t0, Who: "Ana", Text: "x", Service: c.Service, Date: c.Date}}})
	acts, err := s.ActsOf(t.Context(), "done")
	if err != nil || len(acts) != 1 || acts[0] != act || *acts[0].Command() != c || acts[0].Words() != "filter 2026-01-10: sheet 7 (no effect: x)" {
		t.Errorf("%+v, %v", acts, err)
	}
	list, err := s.OpenAlarms(t.Context())
	if err != nil || len(list) != 1 {
		t.Fatalf("%+v, %v", list, err)
	}
	if a := list[0]; a.Cause != tr.Cause || a.Why != tr.Why || a.ShelvedUntil != tr.ShelvedUntil || !a.ShelvedOnce || a.ShelfEnd != tr.ShelfEnd || a.First != tr.First {
		t.Errorf("%+v", a)
	}
	notes, err := s.LastNotes(t.Context(), press, 5)
	if err != nil || len(notes) != 1 || notes[0].Service != c.Service || notes[0].Date != c.Date || notes[0].Key != press {
		t.Errorf("%+v, %v", notes, err)
	}
}
