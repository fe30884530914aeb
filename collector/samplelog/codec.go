package samplelog

import (
	"encoding/json"
	"fmt"
	"math"

	"google.golang.org/protobuf/proto"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog/recordpb"
)

//go:generate protoc --go_out=. --go_opt=module=strokewise/collector/samplelog recordpb/record.proto

// codecVersion is the version of entries this program writes and the newest it reads.
const codecVersion = 1

// MaxEntry is the largest encoded entry, bytes; the stream's message bound is above it.
const MaxEntry = 900 << 10

// Encode gives the bytes of an entry.
func Encode(records []station.Record) ([]byte, error) {
	b := &recordpb.Batch{Version: codecVersion, Records: make([]*recordpb.Record, 0, len(records))}
	for i := range records {
		r, err := encodeRecord(&records[i])
		if err != nil {
			return nil, err
		}
		b.Records = append(b.Records, r)
	}
	data, err := proto.Marshal(b)
	if err != nil {
		return nil, fmt.Errorf("cannot encode log entry: %w", err)
	}
	return data, nil
}

func encodeRecord(r *station.Record) (*recordpb.Record, error) {
	out := &recordpb.Record{Site: r.Key.Site, Station: r.Key.Station, Arrival: int64(r.Arrival), Tick: r.Tick}
	for i := range r.Blocks {
		out.Blocks = append(out.Blocks, encodeBlock(&r.Blocks[i]))
	}
	if c := r.Command; c != nil {
		out.Command = encodeCommand(c)
	}
	if e := r.Epoch; e != nil {
		plate, err := json.Marshal(&e.Plate)
		if err != nil {
			return nil, fmt.Errorf("cannot encode plate data of %s: %w", e.Plate.Key, err)
		}
		out.Epoch = &recordpb.Epoch{Revision: e.Revision, Plate: plate}
	}
	return out, nil
}

func encodeBlock(b *station.Block) *recordpb.Block {
	out := &recordpb.Block{Channel: uint32(b.Channel), Stamp: uint32(b.Stamp), Start: int64(b.Start)}
	if b.Times == nil {
		out.Step = uint64(b.Step)
	} else {
		out.Deltas = make([]int64, len(b.Times))
		last := b.Start
		for i, t := range b.Times {
			out.Deltas[i], last = t.Sub(last), t
		}
	}
	if out.Scaled, out.Scale = scaled(b.Values); out.Scale == 0 {
		out.Doubles = b.Values
	}
	return out
}

// scales are tried in turn: whole numbers (counts, Pa), tenths and hundredths of a Pa.
var scales = [...]float64{1, 10, 100}

// scaled gives the values as differences of whole multiples of 1/scale, and scale 0 where
// that would lose a bit.
func scaled(v []float64) ([]int64, float64) {
	for _, s := range scales {
		if out := scaledBy(v, s); out != nil {
			return out, s
		}
	}
	return nil, 0
}

func scaledBy(v []float64, s float64) []int64 {
	if len(v) == 0 {
		return nil
	}
	out := make([]int64, len(v))
	var last int64
	for i, x := range v {
		n := math.Round(x * s)
		if math.Abs(n) > 1<<52 || n/s != x || n == 0 && math.Signbit(x) {
			return nil
		}
		out[i], last = int64(n)-last, int64(n)
	}
	return out
}

// Decode gives the records of an entry.
func Decode(data []byte) ([]station.Record, error) {
	var b recordpb.Batch
	if err := proto.Unmarshal(data, &b); err != nil {
		return nil, fmt.Errorf("cannot decode log entry: %w", err)
	}
	if b.Version != codecVersion {
		return nil, versionError(b.Version)
	}
	out := make([]station.Record, len(b.Records))
	for i, r := range b.Records {
		if err := decodeRecord(r, &out[i]); err != nil {
			return nil, fmt.Errorf("cannot decode record %d of log entry: %w", i, err)
		}
	}
	return out, nil
}

// versionError words what is wrong with a version that this program does not know.
func versionError(v uint32) error {
	if v > codecVersion {
		return fmt.Errorf("cannot decode log entry of version %d, this program knows version %d: %w", v, codecVersion, ErrNewer)
	}
	return fmt.Errorf("cannot decode log entry of version %d: there is no such version", v)
}

func decodeRecord(r *recordpb.Record, out *station.Record) error {
	out.Key = station.Key{Site: r.Site, Station: r.Station}
	out.Arrival, out.Tick = station.Instant(r.Arrival), r.Tick
	if n := len(r.Blocks); n > 0 {
		out.Blocks = make([]station.Block, n)
	}
	for i, b := range r.Blocks {
		if err := decodeBlock(b, &out.Blocks[i]); err != nil {
			return fmt.Errorf("block %d: %w", i, err)
		}
	}
	if c := r.Command; c != nil {
		out.Command = decodeCommand(c)
	}
	if e := r.Epoch; e != nil {
		out.Epoch = &station.Epoch{Revision: e.Revision}
		if err := json.Unmarshal(e.Plate, &out.Epoch.Plate); err != nil {
			return fmt.Errorf("plate data: %w", err)
		}
	}
	return nil
}

func decodeBlock(b *recordpb.Block, out *station.Block) error {
	if b.Channel >= uint32(station.NumChannels) || b.Stamp > uint32(station.StampArrival) {
		return fmt.Errorf("channel %d or stamp %d is not known: %w", b.Channel, b.Stamp, ErrNewer)
	}
	out.Channel, out.Stamp, out.Start = station.Channel(b.Channel), station.Stamp(b.Stamp), station.Instant(b.Start)
	out.Values = b.Doubles
	if b.Scale != 0 {
		out.Values = make([]float64, len(b.Scaled))
		var n int64
		for i, d := range b.Scaled {
			n += d
			out.Values[i] = float64(n) / b.Scale
		}
	}
	if len(b.Deltas) == 0 {
		out.Step = int64(b.Step)
		return nil
	}
	if len(b.Deltas) != len(out.Values) {
		return fmt.Errorf("%d times and %d values", len(b.Deltas), len(out.Values))
	}
	out.Times = make([]station.Instant, len(b.Deltas))
	last := out.Start
	for i, d := range b.Deltas {
		last = last.Add(d)
		out.Times[i] = last
	}
	return nil
}
