// Package topic maps MQTT topics to sites, stations and channels by patterns such as
// boost/{site}/{station}/{channel}.
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

// level is one level of a pattern: a literal, or a field.
type level struct {
	literal string
	field   field
}

type field uint8

const (
	literal field = iota
	site
	station
	channel
)

var fields = map[string]field{"{site}": site, "{station}": station, "{channel}": channel}

// Compile reads a pattern: levels separated by slashes, each a literal or one of {site},
// {station} and {channel}, each at most once and {station} exactly once. {site} may be
// left out where there is one site, {channel} where the payload names the channels.
func Compile(text string) (*Pattern, error) {
	switch {
	case text == "":
		return nil, errors.New("the pattern is empty")
	case len(text) > maxLen:
		return nil, fmt.Errorf("the pattern has %d bytes, MQTT allows %d", len(text), maxLen)
	case !utf8.ValidString(text) || strings.ContainsRune(text, 0):
		return nil, errors.New("the pattern holds a character that MQTT does not allow")
	case strings.HasPrefix(text, "$"):
		return nil, errors.New("topics that begin with $ are the broker's own")
	}
	p := &Pattern{text: text}
	seen := map[field]bool{}
	for _, part := range strings.Split(text, "/") {
		l := level{literal: part, field: fields[part]}
		if l.field == literal && strings.ContainsAny(part, "{}+#") {
			return nil, fmt.Errorf("the level %q is neither a plain name nor one of {site}, {station}, {channel}", part)
		}
		if l.field != literal && seen[l.field] {
			return nil, fmt.Errorf("%s occurs twice", part)
		}
		seen[l.field] = true
		p.levels = append(p.levels, l)
	}
	if !seen[station] {
		return nil, errors.New("{station} is missing")
	}
	return p, nil
}

// String gives the pattern as it was written.
func (p *Pattern) String() string { return p.text }

// HasSite tells whether topics name the site.
func (p *Pattern) HasSite() bool { return p.has(site) }

// HasChannel tells whether topics name the channel.
func (p *Pattern) HasChannel() bool { return p.has(channel) }

func (p *Pattern) has(f field) bool {
	for i := range p.levels {
		if p.levels[i].field == f {
			return true
		}
	}
	return false
}

// Filter gives the MQTT subscription filter that matches the pattern's topics.
func (p *Pattern) Filter() string {
	parts := make([]string, len(p.levels))
	for i, l := range p.levels {
		parts[i] = l.literal
		if l.field != literal {
			parts[i] = "+"
		}
	}
	return strings.Join(parts, "/")
}

// Match reads a topic, and tells whether it fits the pattern. Fields are never empty
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
		if part == "" {
			return Fields{}, false
		}
		switch l.field {
		case site:
			f.Site = part
		case station:
			f.Station = part
		case channel:
			f.Channel = part
		}
	}
	return f, true
}
