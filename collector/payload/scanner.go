package payload

import (
	"bytes"
	"encoding/json"

	"strokewise/collector/decimal"
)

// scanner reads JSON in place. A hand-written one takes a tenth of the time of
// encoding/json for arrays of numbers, which is what sensors send; fuzzing holds it to
// encoding/json.
type scanner struct {
	data []byte
	pos  int
}

func (s *scanner) end() bool { return s.pos >= len(s.data) }

func (s *scanner) space() {
	for s.pos < len(s.data) {
		switch s.data[s.pos] {
		case ' ', '\t', '\n', '\r':
			s.pos++
		default:
			return
		}
	}
}

// take skips space and then c, and tells whether c was there.
func (s *scanner) take(c byte) bool {
	s.space()
	if s.pos < len(s.data) && s.data[s.pos] == c {
		s.pos++
		return true
	}
	return false
}

// peek gives the next character after space, 0 at the end.
func (s *scanner) peek() byte {
	s.space()
	if s.end() {
		return 0
	}
	return s.data[s.pos]
}

// word skips the given literal.
func (s *scanner) word(w string) bool {
	if len(s.data)-s.pos >= len(w) && string(s.data[s.pos:s.pos+len(w)]) == w {
		s.pos += len(w)
		return true
	}
	return false
}

// str reads a string. The slice is valid until the data changes.
func (s *scanner) str() ([]byte, bool) {
	if !s.take('"') {
		return nil, false
	}
	from := s.pos
	for s.pos < len(s.data) {
		switch c := s.data[s.pos]; {
		case c == '"':
			s.pos++
			return s.data[from : s.pos-1], true
		case c == '\\':
			return s.escaped(from)
		case c < ' ':
			return nil, false
		}
		s.pos++
	}
	return nil, false
}

// escaped reads on a string with escapes that began at from.
func (s *scanner) escaped(from int) ([]byte, bool) {
	for s.pos < len(s.data) {
		switch s.data[s.pos] {
		case '\\':
			s.pos++
		case '"':
			s.pos++
			var out string
			if json.Unmarshal(s.data[from-1:s.pos], &out) != nil {
				return nil, false
			}
			return []byte(out), true
		}
		s.pos++
	}
	return nil, false
}

// number reads a number by JSON's grammar.
func (s *scanner) number() (float64, bool) {
	s.space()
	v, n, ok := decimal.Parse(s.data[s.pos:])
	s.pos += n
	return v, ok
}

// skip reads over one value of any kind.
func (s *scanner) skip() bool {
	s.space()
	d := json.NewDecoder(bytes.NewReader(s.data[s.pos:]))
	var raw json.RawMessage
	if d.Decode(&raw) != nil {
		return false
	}
	s.pos += int(d.InputOffset())
	return true
}

// literal reads true, false or null.
func (s *scanner) literal() (value, null, ok bool) {
	s.space()
	switch {
	case s.word("true"):
		return true, false, true
	case s.word("false"):
		return false, false, true
	case s.word("null"):
		return false, true, true
	}
	return false, false, false
}
