// Package payload decodes MQTT payloads to blocks of samples in SI: a plain number, a
// JSON block of one or several channels, SenML JSON (RFC 8428). What does not decode is
// a Refusal with a reason; nothing panics, whatever a sensor sends.
package payload

import (
	"fmt"
	"math"

	"strokewise/analyzer/station"
)

// Bounds of a message.
const (
	MaxSamples = 100_000 // in all channels together
	maxValue   = 1e15
)

// Format is the way a payload is written.
type Format uint8

// The formats. Auto looks at the first character.
const (
	Auto Format = iota
	Scalar
	Block
	SenML
)

var formatNames = [...]string{"auto", "scalar", "block", "senml"}

// String gives the name used in the configuration.
func (f Format) String() string { return formatNames[f%4] }

// ParseFormat finds a format by its name.
func ParseFormat(name string) (Format, bool) {
	for i, n := range formatNames {
		if n == name {
			return Format(i), true
		}
	}
	return Auto, false
}

// Reason says why something is refused. It is a label of the refused counter.
type Reason string

// The reasons of a payload that does not decode.
const (
	NotJSON        Reason = "not-json"
	NotANumber     Reason = "not-a-number"
	NotFinite      Reason = "not-finite"
	NoChannel      Reason = "no-channel"
	UnknownChannel Reason = "unknown-channel"
	BadBlock       Reason = "bad-block"
	BadSenML       Reason = "bad-senml"
	BadUnit        Reason = "unit"
	TooLong        Reason = "too-long"
	Empty          Reason = "empty"
)

// Reasons lists the reasons of this package.
func Reasons() []Reason {
	return []Reason{NotJSON, NotANumber, NotFinite, NoChannel, UnknownChannel, BadBlock, BadSenML, BadUnit, TooLong, Empty}
}

// Refusal tells why a message is turned away, what was expected and what to do.
type Refusal struct {
	Reason Reason
	Detail string
}

// Error gives the reason and the detail.
func (r *Refusal) Error() string { return string(r.Reason) + ": " + r.Detail }

func refuse(r Reason, format string, args ...any) *Refusal {
	return &Refusal{Reason: r, Detail: fmt.Sprintf(format, args...)}
}

// Context is what is known of a message beside its payload.
type Context struct {
	Channel      station.Channel // named by the topic
	HasChannel   bool
	PressureUnit float64 // Pa of one unit in payloads without unit, 0: 1 kPa
	Arrival      station.Instant
}

func (c *Context) pressureUnit() float64 {
	if c.PressureUnit > 0 {
		return c.PressureUnit
	}
	return 1e3
}

// Decode appends the payload's blocks to dst: at most one a channel, times increasing,
// rounded to microseconds, values finite and in SI. Payloads without own time are stamped
// with the arrival.
func Decode(f Format, data []byte, c *Context, dst []station.Block) ([]station.Block, *Refusal) {
	s := scanner{data: data}
	s.space()
	if s.end() {
		return dst, refuse(Empty, "the payload is empty; expected a number, a block or SenML")
	}
	if f == Auto {
		switch s.data[s.pos] {
		case '{':
			f = Block
		case '[':
			f = SenML
		default:
			f = Scalar
		}
	}
	switch f {
	case Block:
		return decodeBlock(&s, c, dst)
	case SenML:
		return decodeSenML(&s, c, dst)
	default:
		return decodeScalar(data, c, dst)
	}
}

// finite checks a value.
func finite(v float64) bool { return !math.IsNaN(v) && math.Abs(v) <= maxValue }
