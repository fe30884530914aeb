// Package topic maps names to sites, stations and channels by patterns such as
// boost/{site}/{station}/{channel}: MQTT topics, and names within payloads.
package topic

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"
)

// maxLen is the longest topic that MQTT allows, bytes.
const maxLen = 65535

// Fields are what a topic says. Fields that the pattern does not have are empty.
type Fields struct{ Site, Station, Channel string }

// Pattern is a compiled topic pattern. It is safe for concurrent use.
type Pattern struct {
	text   string
	levels []level
}

// level is one level of a pattern: a literal, a field, or fields with literals around them.
type level struct {
	literal string
	field   field
	parts   []level // of a level that is more than one of both
}

type field uint8

const (
	literal field = iota
	site
	station
	channel
	mixed // literals and fields
)

var fields = map[string]field{"{site}": site, "{station}": station, "{channel}": channel}

// Compile reads the pattern of a topic: levels separated by slashes, in each plain text and at most the
// fields {site}, {station} and {channel}, each at most once in the pattern and {station} exactly once.
// {site} may be left out where there is one site, {channel} where the payload names the channels.
func Compile(text string) (*Pattern, error) {
	p, err := CompilePartly(text)
	if err == nil && !p.has(station) {
		return nil, errors.New("{station} is missing")
	}
	return p, err
}

// CompilePartly is Compile for topics whose station is known without them.
func CompilePartly(text string) (*Pattern, error) {
	if strings.HasPrefix(text, "$") {
		return nil, errors.New("topics that begin with $ are the broker's own")
	}
	return CompileName(text)
}

// CompileName reads the pattern of names within payloads.
func CompileName(text string) (*Pattern, error) {
	switch {
	case text == "":
		return nil, errors.New("the pattern is empty")
	case len(text) > maxLen:
		return nil, fmt.Errorf("the pattern has %d bytes, MQTT allows %d", len(text), maxLen)
	case !utf8.ValidString(text) || strings.ContainsRune(text, 0):
		return nil, errors.New("the pattern holds a character that MQTT does not allow")
	}
	p := &Pattern{text: text}
	seen := map[field]bool{}
	for _, part := range strings.Split(text, "/") {
		l, err := compileLevel(part, seen)
		if err != nil {
			return nil, err
		}
		p.levels = append(p.levels, l)
	}
	return p, nil
}

// compileLevel reads one level, and notes its fields.
func compileLevel(text string, seen map[field]bool) (level, error) {
	var parts []level
	for rest := text; rest != ""; {
		from := strings.IndexByte(rest, '{')
		if from != 0 {
			plain := rest
			if from > 0 {
				plain = rest[:from]
			}
			if strings.ContainsAny(plain, "}+#") {
				return level{}, fmt.Errorf("the level %q is neither a plain name nor one of {site}, {station}, {channel}", text)
			}
			parts, rest = append(parts, level{literal: plain}), rest[len(plain):]
			continue
		}
		name := rest[:strings.IndexByte(rest, '}')+1]
		f := fields[name]
		switch {
		case f == literal:
			return level{}, fmt.Errorf("the level %q is neither a plain name nor one of {site}, {station}, {channel}", text)
		case seen[f]:
			return level{}, fmt.Errorf("%s occurs twice", name)
		case len(parts) > 0 && parts[len(parts)-1].field != literal:
			return level{}, fmt.Errorf("nothing in the level %q tells where one field ends and the next begins", text)
		}
		seen[f] = true
		parts, rest = append(parts, level{field: f}), rest[len(name):]
	}
	switch len(parts) {
	case 0:
		return level{}, nil
	case 1:
		return parts[0], nil
	}
	return level{field: mixed, parts: parts}, nil
}

// String returns the pattern as it was written.
func (p *Pattern) String() string { return p.text }

// HasSite reports whether topics name the site.
func (p *Pattern) HasSite() bool { return p.has(site) }

// HasStation reports whether topics name the station.
func (p *Pattern) HasStation() bool { return p.has(station) }

// HasChannel reports whether topics name the channel.
func (p *Pattern) HasChannel() bool { return p.has(channel) }

func (p *Pattern) has(f field) bool {
	for i := range p.levels {
		if p.levels[i].has(f) {
			return true
		}
	}
	return false
}

func (l *level) has(f field) bool {
	for i := range l.parts {
		if l.parts[i].field == f {
			return true
		}
	}
	return l.field == f
}

// Levels returns the MQTT subscription filter of each level.
func (p *Pattern) Levels() []string {
	out := make([]string, len(p.levels))
	for i, l := range p.levels {
		out[i] = l.literal
		if l.field != literal {
			out[i] = "+"
		}
	}
	return out
}

// Filter returns the MQTT subscription filter that matches the pattern's topics. It matches more than
// them where a level holds text and a field.
func (p *Pattern) Filter() string { return strings.Join(p.Levels(), "/") }

// Match reads a topic, and reports whether it fits the pattern. Fields are never empty
// where the pattern has them. It does not allocate.
func (p *Pattern) Match(topic string) (Fields, bool) {
	var f Fields
	rest := topic
	for i := range p.levels {
		l := &p.levels[i]
		part, after, more := strings.Cut(rest, "/")
		if more != (i < len(p.levels)-1) {
			return Fields{}, false
		}
		rest = after
		if l.field == literal {
			if part != l.literal {
				return Fields{}, false
			}
			continue
		}
		if !l.match(part, &f) {
			return Fields{}, false
		}
	}
	return f, true
}

// match reads a level that holds fields. A field reaches to the first place where the text behind it
// fits, the last field to the last one.
func (l *level) match(part string, f *Fields) bool {
	if l.field != mixed {
		return f.set(l.field, part)
	}
	for i := range l.parts {
		switch p := &l.parts[i]; {
		case p.field == literal && !strings.HasPrefix(part, p.literal):
			return false
		case p.field == literal:
			part = part[len(p.literal):]
		default:
			end := len(part)
			if i == len(l.parts)-2 {
				end -= len(l.parts[i+1].literal)
			} else if i < len(l.parts)-1 && part != "" {
				end = 1 + strings.Index(part[1:], l.parts[i+1].literal)
			}
			if end <= 0 || !f.set(p.field, part[:end]) {
				return false
			}
			part = part[end:]
		}
	}
	return part == ""
}

// set sets a field, which must not be empty.
func (f *Fields) set(which field, value string) bool {
	switch which {
	case site:
		f.Site = value
	case station:
		f.Station = value
	case channel:
		f.Channel = value
	}
	return value != ""
}
