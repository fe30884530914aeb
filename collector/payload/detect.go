package payload

import (
	"bytes"
	"strings"

	"strokewise/collector/decimal"
)

// namespace begins the topics of Sparkplug B (Sparkplug 3.0, 4.1.1).
const namespace = "spBv1.0/"

// Detect returns the format of a payload by its topic and its first characters: Sparkplug by the
// namespace of the topic, a block by {, SenML by [ or by the first byte of a CBOR array, line protocol
// by a name with a field behind it, and a plain number else. Of an empty payload it returns Auto.
func Detect(topic string, data []byte) Format {
	if strings.HasPrefix(topic, namespace) {
		return Sparkplug
	}
	s := scanner{data: data}
	switch c := s.peek(); {
	case s.end():
		return Auto
	case c == '{':
		return Block
	case c == '[', cborArray(data):
		return SenML
	case isLine(data[s.pos:]):
		return Line
	}
	return Scalar
}

// cborArray reports whether data begins with an array of CBOR (RFC 8949, 3.1: major type 4). No text in
// UTF-8 begins with such a byte.
func cborArray(data []byte) bool { return len(data) > 0 && data[0] >= 0x80 && data[0] <= 0x9f }

// isLine reports whether text is more likely a line of line protocol than a number: it is none, and
// behind a space there is an equals sign.
func isLine(text []byte) bool {
	if _, _, ok := decimal.Parse(text); ok {
		return false
	}
	space := bytes.IndexByte(text, ' ')
	return space > 0 && bytes.IndexByte(text[space:], '=') > 0
}
