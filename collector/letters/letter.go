// Package letters keeps messages that were not accepted, on disk beside the sample log: refused
// ones by label, for people who mend the mapping and accept them again, and held ones, which wait
// until our clock is right or their station's older messages are in.
package letters

import (
	"encoding/binary"
	"errors"
	"fmt"

	"strokewise/analyzer/station"
)

// Label is why a message was not accepted: a label of the refused counter, or what it waits for.
type Label string

// Letter is a message that was not accepted.
type Letter struct {
	Held     bool  // it waits; else it is refused
	Label    Label // why it is refused, or what it waits for
	Detail   string
	Topic    string
	Site     string // of the broker that it came from, "" where that stands for none
	Payload  []byte
	Arrival  station.Instant // by the program's time as it was known then
	Mono     int64           // of the arrival on the monotonic clock of Run, ns
	Run      string          // names the process
	Retained bool
	Backlog  bool
	Size     int  // bytes of the whole payload
	Cut      bool // Payload is only the beginning

	Position uint64 // in its stream
}

const (
	layout     = 1
	maxPayload = 900 << 10 // bytes kept whole; the servers take 1 MiB
	keepOfMore = 4 << 10   // bytes kept of a longer one
	maxText    = 2 << 10   // bytes kept of topic and detail each
)

const (
	flagRetained = 1 << iota
	flagBacklog
	flagCut
	flagHeld
	flagSite
)

// encode returns the bytes of a letter.
func (l *Letter) encode() []byte {
	payload, cut := l.Payload, l.Cut
	if len(payload) > maxPayload {
		payload, cut = payload[:keepOfMore], true
	}
	b := make([]byte, 0, len(payload)+len(l.Topic)+len(l.Detail)+len(l.Label)+len(l.Run)+64)
	var flags byte
	for _, f := range [...]struct {
		on   bool
		flag byte
	}{{l.Retained, flagRetained}, {l.Backlog, flagBacklog}, {cut, flagCut}, {l.Held, flagHeld}, {l.Site != "", flagSite}} {
		if f.on {
			flags |= f.flag
		}
	}
	b = append(b, layout, flags)
	b = binary.AppendVarint(b, int64(l.Arrival))
	b = binary.AppendVarint(b, l.Mono)
	b = binary.AppendUvarint(b, uint64(l.Size))
	texts := []string{l.Run, string(l.Label), clip(l.Detail), l.Topic}
	if l.Site != "" {
		texts = append(texts, l.Site)
	}
	for _, s := range texts {
		b = binary.AppendUvarint(b, uint64(len(s)))
		b = append(b, s...)
	}
	return append(b, payload...)
}

func clip(s string) string { return s[:min(len(s), maxText)] }

var errLetter = errors.New("cannot read a kept message: it is damaged, or of another program")

// decode returns the letter of its bytes, which it shares.
func decode(b []byte) (l Letter, err error) {
	if len(b) < 2 || b[0] != layout {
		return l, errLetter
	}
	flags := b[1]
	l.Retained, l.Backlog, l.Cut, l.Held = flags&flagRetained != 0, flags&flagBacklog != 0, flags&flagCut != 0, flags&flagHeld != 0
	r := reader{b: b[2:]}
	l.Arrival, l.Mono = station.Instant(r.varint()), r.varint()
	l.Size = int(r.uvarint())
	l.Run, l.Label, l.Detail, l.Topic = r.text(), Label(r.text()), r.text(), r.text()
	if flags&flagSite != 0 {
		l.Site = r.text()
	}
	if r.bad {
		return Letter{}, fmt.Errorf("%w: it ends too early", errLetter)
	}
	l.Payload = r.b
	return l, nil
}

// reader reads fields from bytes.
type reader struct {
	b   []byte
	bad bool
}

func (r *reader) take(n int) {
	if r.bad = r.bad || n <= 0 || n > len(r.b); !r.bad {
		r.b = r.b[n:]
	}
}

func (r *reader) varint() int64 {
	v, n := binary.Varint(r.b)
	r.take(n)
	return v
}

func (r *reader) uvarint() uint64 {
	v, n := binary.Uvarint(r.b)
	r.take(n)
	return v
}

func (r *reader) text() string {
	n := r.uvarint()
	if r.bad || n > uint64(len(r.b)) {
		r.bad = true
		return ""
	}
	s := string(r.b[:n])
	r.b = r.b[n:]
	return s
}
