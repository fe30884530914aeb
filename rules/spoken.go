package rules

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"strokewise/analyzer/station"
)

// Spoken is a person's word that a line was vented. It stands until that person ends it, whoever
// gives the same word later.
type Spoken struct {
	Who string
	At  station.Instant
}

// sameName reports whether two names are one person's: case and the number of spaces do not count.
func sameName(a, b string) bool { return strings.EqualFold(oneSpaced(a), oneSpaced(b)) }

func oneSpaced(s string) string { return strings.Join(strings.Fields(s), " ") }

// mentions reports whether a text names a person: the whole name, as words of their own.
func mentions(text, who string) bool {
	text, who = strings.ToLower(oneSpaced(text)), strings.ToLower(oneSpaced(who))
	for from := 0; who != ""; {
		at := strings.Index(text[from:], who)
		if at < 0 {
			return false
		}
		at += from
		before, _ := utf8.DecodeLastRuneInString(text[:at])
		after, _ := utf8.DecodeRuneInString(text[at+len(who):])
		if !inWord(before) && !inWord(after) {
			return true
		}
		from = at + len(who)
	}
	return false
}

// inWord reports whether a rune belongs to a word.
func inWord(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) || unicode.IsMark(r) }

// Vented returns whose words stand after a command "vented" or "work-ended" that had effect; alone
// says that nobody was declared at work. Who ends the own work ends the own word. Where nobody is
// at work, the end of somebody whose word does not stand ends all.
func Vented(list []Spoken, c *station.Command, at station.Instant, alone bool) []Spoken {
	who := strings.TrimSpace(c.By)
	others := slices.DeleteFunc(slices.Clone(list), func(s Spoken) bool { return sameName(s.Who, who) })
	switch {
	case c.Kind == "vented":
		return append(others, Spoken{who, at})
	case len(others) == len(list) && alone:
		return nil
	}
	return others
}

// spokenNames lists the names of those whose words stand.
func spokenNames(list []Spoken) string {
	var out []string
	for i := range list {
		out = append(out, list[i].Who)
	}
	return strings.Join(out, ", ")
}

// RecallVented puts words "vented" in force that the history knows to stand and the evaluator does
// not: its memory was lost, and the log no longer holds them.
func (v *Evaluator) RecallVented(words []Spoken) {
	p := &v.Past.Vents
	for _, s := range words {
		if slices.ContainsFunc(p.Words, func(have Spoken) bool { return sameName(have.Who, s.Who) }) {
			continue
		}
		p.Words = append(p.Words, s)
		p.Vented, p.InletVented, p.VentedBy = true, true, v.ventedBy(s.Who, s.At)
	}
}
