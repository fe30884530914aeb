// Package payload decodes MQTT payloads to samples in SI: a plain number, a JSON block of one or several
// channels, SenML in JSON and CBOR (RFC 8428, RFC 8798). What does not decode is a Refusal with a
// reason; nothing panics, whatever a sensor sends.
package payload

import (
	"fmt"

	"strokewise/analyzer/station"
)

// Bounds of a message.
const (
	MaxSamples = 100_000 // in all channels together
	maxValue   = 1e15
)

// Format is the way a payload is written.
type Format uint8

// The formats. Auto looks at the topic and the first characters, see Detect.
const (
	Auto Format = iota
	Scalar
	Block
	SenML     // JSON or CBOR
	JSON      // any JSON, read by a mapping
	Line      // InfluxDB line protocol
	Sparkplug // Sparkplug B
	numFormats
)

var formatNames = [numFormats]string{"auto", "scalar", "block", "senml", "json", "line", "sparkplug"}

// String returns the name used in the configuration.
func (f Format) String() string { return formatNames[f%numFormats] }

// FormatNames lists the names in order, for messages.
func FormatNames() []string { return append([]string(nil), formatNames[:]...) }

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
	BadLine        Reason = "bad-line"
	BadSparkplug   Reason = "bad-sparkplug"
	NotBorn        Reason = "not-born" // of Sparkplug: it needs a birth that is not there
	BadUnit        Reason = "unit"
	BadTime        Reason = "bad-time"
	NoMember       Reason = "no-member"
	BrokenWire     Reason = "broken-wire"
	TooLong        Reason = "too-long"
	Empty          Reason = "empty"
)

// Reasons lists the reasons of this package and of the decoders beside it.
func Reasons() []Reason {
	return []Reason{NotJSON, NotANumber, NotFinite, NoChannel, UnknownChannel, BadBlock, BadSenML, BadLine, BadSparkplug, NotBorn,
		BadUnit, BadTime, NoMember, BrokenWire, TooLong, Empty}
}

// Refusal tells why a message is turned away, what was expected and what to do.
type Refusal struct {
	Reason Reason
	Detail string
}

// Error returns the reason and the detail.
func (r *Refusal) Error() string { return string(r.Reason) + ": " + r.Detail }

func refuse(r Reason, format string, args ...any) *Refusal {
	return &Refusal{Reason: r, Detail: fmt.Sprintf(format, args...)}
}

// Refuse returns a refusal with a worded detail.
func Refuse(r Reason, format string, args ...any) *Refusal { return refuse(r, format, args...) }

// Scales are those of the channels; nil: none.
type Scales [station.NumChannels]*Scale

// Context is what is known of a message beside its payload.
type Context struct {
	Channel      station.Channel // named by the topic
	HasChannel   bool
	PressureUnit float64 // Pa of one unit in payloads without unit, 0: 1 kPa
	Arrival      station.Instant
	Scales       *Scales  // of plain numbers; nil: none
	Ignore       []string // members of a block that are left out; "*": all that name no channel
	Comma        bool     // numbers in texts have a decimal comma
	Names        Names    // nil: none
}

func (c *Context) pressureUnit() float64 {
	if c.PressureUnit > 0 {
		return c.PressureUnit
	}
	return 1e3
}

// scale returns the scale of a channel, nil where there is none.
func (c *Context) scale(ch station.Channel) *Scale {
	if c.Scales == nil || ch >= station.NumChannels {
		return nil
	}
	return c.Scales[ch]
}

// Decode appends the blocks of a plain number or a block to dst: at most one a channel, times
// increasing, rounded to microseconds, values finite and in SI. Payloads without own time are stamped
// with the arrival.
func Decode(f Format, data []byte, c *Context, dst []station.Block) ([]station.Block, *Refusal) {
	if f == Block {
		s := scanner{data: data}
		return decodeBlock(&s, c, dst)
	}
	return decodeScalar(data, c, dst)
}

// Read appends the readings of a SenML pack to dst. A record that cannot be read loses itself only, and
// records of names that are of no concern here are skipped.
func Read(data []byte, c *Context, dst []Reading) ([]Reading, *Refusal) {
	if cborArray(data) {
		return readCBOR(data, c, dst)
	}
	s := scanner{data: data}
	return readSenML(&s, c, dst)
}
