// Package learned encodes what was learned of a station (station.Learned) as protobuf with field numbers,
// so that every later version reads it, and an earlier one keeps what it does not know of it.
package learned

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/learned/learnedpb"
)

//go:generate protoc --go_out=. --go_opt=module=strokewise/cmd/internal/learned learnedpb/learned.proto

// Record is what was learned of one station, with what a later version has added.
type Record struct{ msg learnedpb.Learned }

// Decode reads a record that any version has written.
func Decode(data []byte) (*Record, error) {
	r := &Record{}
	if err := proto.Unmarshal(data, &r.msg); err != nil {
		return nil, fmt.Errorf("cannot read what was learned: %w", err)
	}
	return r, nil
}

// Encode returns the record's bytes, the same for the same content.
func (r *Record) Encode() ([]byte, error) {
	data, err := proto.MarshalOptions{Deterministic: true}.Marshal(&r.msg)
	if err != nil {
		return nil, fmt.Errorf("cannot write what was learned: %w", err)
	}
	return data, nil
}

// Learned returns what this version knows of the record.
func (r *Record) Learned() *station.Learned {
	l := &station.Learned{}
	read(r.msg.ProtoReflect(), l)
	return l
}

// Set sets what this version knows. Fields and figures that it does not know stay; those within points of a
// history go, since it cannot be told which point they belong to.
func (r *Record) Set(l *station.Learned) {
	was := r.msg.Figures
	write(r.msg.ProtoReflect(), l)
	for _, f := range was {
		now := slices.IndexFunc(r.msg.Figures, func(g *learnedpb.LearnedFigure) bool { return g.Name == f.Name })
		_, known := station.FigureOf(f.Name)
		switch {
		case now >= 0:
			r.msg.Figures[now].ProtoReflect().SetUnknown(f.ProtoReflect().GetUnknown())
		case !known:
			r.msg.Figures = append(r.msg.Figures, f)
		}
	}
}
