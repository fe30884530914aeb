package samplelog

import (
	"testing"

	"google.golang.org/protobuf/proto"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog/recordpb"
)

// What older programs packed into the note of a command is read into its fields. Source: the
// forms that version 1 of the program wrote.
func TestCommandsOfOlderLogs(t *testing.T) {
	for _, c := range []struct {
		old  *recordpb.Command
		want station.Command
	}{
		{&recordpb.Command{Kind: "close", Note: "leak: fitting: tightened"}, station.Command{Kind: "close", Cause: station.CauseLeak, Note: "fitting: tightened"}},
		{&recordpb.Command{Kind: "close", Note: "nothing found: looked twice"}, station.Command{Kind: "close", Cause: station.NothingFound, Note: "looked twice"}},
		{&recordpb.Command{Kind: "close", Note: "drain: closed"}, station.Command{Kind: "close", Note: "drain: closed"}},
		{&recordpb.Command{Kind: "done", Note: "relief-test 2026-01-10: sheet 7: p. 2"}, station.Command{Kind: "done", Service: station.ReliefTest, Date: "2026-01-10", Document: "sheet 7: p. 2"}},
		{&recordpb.Command{Kind: "done", Note: "relief 2026-01-10: sheet 7"}, station.Command{Kind: "done", Note: "relief 2026-01-10: sheet 7"}},
		{&recordpb.Command{Kind: "inspected", Note: "certificate: 4711"}, station.Command{Kind: "inspected", Document: "certificate: 4711"}},
		{&recordpb.Command{Kind: "note", Note: "leak: it hisses"}, station.Command{Kind: "note", Note: "leak: it hisses"}},
	} {
		data, err := proto.Marshal(&recordpb.Batch{Version: 1, Records: []*recordpb.Record{{Site: "a", Station: "b", Command: c.old}}})
		if err != nil {
			t.Fatal(err)
		}
		got, err := Decode(data)
		if err != nil || *got[0].Command != c.want {
			t.Errorf("%v: %+v, %v; want %+v", c.old, got[0].Command, err, c.want)
		}
	}
}

// A command comes back from the log as it went in, whatever its words look like.
func TestCommandsKeepTheirFields(t *testing.T) {
	for _, c := range []station.Command{
		{Kind: "close", Alarm: "outlet-leak", By: "Ana", Cause: station.CauseWear, Note: "leak: no, wear (no effect: )"},
		{Kind: "done", By: "Ana", Service: station.FilterElement, Date: "2026-01-10", Document: "hose 2025-01-01: x (no effect: y)"},
		{Kind: "inspected", By: "Ana", Document: "sheet 12 (no effect: see page 2)", Note: "by the maker"},
		{Kind: "shelve", Alarm: "outlet-leak", By: "Ana", Note: "leak: parts ordered", Until: 7},
	} {
		data, err := Encode([]station.Record{{Key: station.Key{Site: "a", Station: "b"}, Arrival: 1, Command: &c}})
		if err != nil {
			t.Fatal(err)
		}
		got, err := Decode(data)
		if err != nil || *got[0].Command != c {
			t.Errorf("%+v, %v; want %+v", got[0].Command, err, c)
		}
	}
}
