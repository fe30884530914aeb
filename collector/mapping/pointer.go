package mapping

import (
	"errors"
	"strconv"
	"strings"
)

// Pointer is a JSON Pointer (RFC 6901): "/outlet/pressure", "/values/3", "" for the whole.
type Pointer struct {
	text  string
	parts []string
}

// unescape undoes the two escapes of RFC 6901, section 4, in the order that it prescribes.
var unescape = strings.NewReplacer("~1", "/", "~0", "~")

// ParsePointer reads a pointer.
func ParsePointer(text string) (*Pointer, error) {
	if text == "" {
		return &Pointer{}, nil
	}
	if text[0] != '/' {
		return nil, errors.New("a path begins with a slash, as in /outlet/pressure")
	}
	for rest := text; ; {
		i := strings.IndexByte(rest, '~')
		if i < 0 {
			break
		}
		if i+1 == len(rest) || rest[i+1] != '0' && rest[i+1] != '1' {
			return nil, errors.New("a ~ in a path stands before 0 (for ~) or 1 (for /)")
		}
		rest = rest[i+2:]
	}
	p := &Pointer{text: text}
	for _, part := range strings.Split(text[1:], "/") {
		p.parts = append(p.parts, unescape.Replace(part))
	}
	return p, nil
}

// String returns the pointer as it was written.
func (p *Pointer) String() string { return p.text }

// in returns what the pointer refers to in a document; false where there is nothing.
func (p *Pointer) in(doc any) (any, bool) {
	for _, part := range p.parts {
		switch x := doc.(type) {
		case map[string]any:
			v, ok := x[part]
			if !ok {
				return nil, false
			}
			doc = v
		case []any:
			i, ok := index(part)
			if !ok || i >= len(x) {
				return nil, false
			}
			doc = x[i]
		default:
			return nil, false
		}
	}
	return doc, true
}

// index reads the index of an array (RFC 6901, section 4): digits without leading zeros.
func index(s string) (int, bool) {
	if len(s) > 9 || len(s) > 1 && s[0] == '0' || strings.Trim(s, "0123456789") != "" {
		return 0, false
	}
	i, err := strconv.Atoi(s)
	return i, err == nil
}
