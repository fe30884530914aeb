package batch

import "strokewise/analyzer/station"

// maxEntry bounds the records of one entry, bytes as size estimates them. The log takes
// 900 KiB encoded and its transport 1 MiB; size never estimates less than is encoded.
const maxEntry = 512 << 10

// Bytes of the log's encoding, at most: a value is a double or a varint of at most 54
// bits, a time a varint of 64 bits; the rest is field tags, lengths and numbers.
const (
	recordBytes = 48
	blockBytes  = 64
	valueBytes  = 8
	timeBytes   = 10
)

// size bounds the encoded bytes of a record from above.
func size(r *station.Record) int {
	n := recordBytes + len(r.Key.Site) + len(r.Key.Station)
	for i := range r.Blocks {
		n += blockBytes + valueBytes*len(r.Blocks[i].Values) + timeBytes*len(r.Blocks[i].Times)
	}
	return n
}

// share is what a batch appends to one partition: its entries in order.
type share struct {
	partition int
	entries   [][]station.Record
	room      int // bytes left in the last entry
}

// shares groups the records of a batch by partition, in order, into entries within
// bounds.
func shares(items []item) []*share {
	var byPartition [station.Partitions]*share
	var out []*share
	for i := range items {
		if items[i].letter != nil || len(items[i].rec.Blocks) == 0 {
			continue // stored elsewhere, or nothing to store
		}
		p := items[i].rec.Key.Partition()
		if byPartition[p] == nil {
			byPartition[p] = &share{partition: p}
			out = append(out, byPartition[p])
		}
		byPartition[p].add(&items[i].rec)
	}
	return out
}

func (s *share) add(r *station.Record) {
	n := size(r)
	if n > maxEntry {
		for _, part := range split(r, n) {
			s.add(&part)
		}
		return
	}
	if n > s.room {
		s.entries, s.room = append(s.entries, nil), maxEntry
	}
	last := len(s.entries) - 1
	s.entries[last] = append(s.entries[last], *r)
	s.room -= n
}

// split cuts a record of n bytes into parts that each hold the same share of the
// samples of every channel, so that channels stay abreast of each other in the log. It
// gives the record itself where it has too few samples to be cut.
func split(r *station.Record, n int) []station.Record {
	longest := 0
	for i := range r.Blocks {
		longest = max(longest, r.Blocks[i].Len())
	}
	parts := min((n+maxEntry/2-1)/(maxEntry/2), longest)
	out := make([]station.Record, max(parts, 1))
	for i := range out {
		out[i] = station.Record{Key: r.Key, Arrival: r.Arrival}
		for j := range r.Blocks {
			b := &r.Blocks[j]
			if from, to := i*b.Len()/parts, (i+1)*b.Len()/parts; to > from {
				out[i].Blocks = append(out[i].Blocks, cut(b, from, to))
			}
		}
	}
	return out
}

// cut gives the samples from..to-1 of a block; they share its memory.
func cut(b *station.Block, from, to int) station.Block {
	out := *b
	out.Start, out.Values = b.At(from), b.Values[from:to]
	if b.Times != nil {
		out.Times = b.Times[from:to]
	}
	return out
}
