package access

import (
	"slices"
	"strings"
)

// Passwords of twelve characters that are tried first are a word or two that everybody knows, stretched by
// digits, signs, repeats and runs of the keyboard. So they are recognised by what they are made of. A list of
// those that were once stolen would be longer than the program, and old at its release.

// everybodys are the words: of the tool and its place (OWASP ASVS 6.1.2), of logins, and such as people take of their own
// accord; common practice, no source.
var everybodys = strings.Fields(`
strokewise booster boost air airline compressed compressor pneumatic pneumatics pressure station stroke piston cylinder valve regulator governor outlet inlet supply header tank
telemetry monitor monitoring sensor alarm dashboard plant factory workshop maintenance mechanic operator engineer viewer administrator admin root user guest shift line press
password passwort passwd pass secret login logon welcome willkommen hello hallo change changeme default letmein access open sesame test testing temp temporary demo example
master private security secure company office service support system server computer internet network database manager
love lovely sunshine princess prince monkey dragon football baseball soccer hockey tennis flower butterfly purple orange banana chocolate cookie coffee cheese pepper ginger
summer winter spring autumn january february march april may june july august september october november december
monday tuesday wednesday thursday friday saturday sunday today tomorrow
superhero shadow killer hunter ranger trustno freedom whatever forever diamond silver golden phoenix tiger eagle falcon angel baby friend family
one two three four five six seven eight nine ten`)

// between are words that add nothing.
var between = strings.Fields("my your our the this is and a i me you to in of for new")

// rows are keys beside each other on common keyboards, and the alphabet.
var rows = []string{"qwertzuiop", "qwertyuiop", "azertyuiop", "asdfghjkl", "yxcvbnm", "zxcvbnm", "abcdefghijklmnopqrstuvwxyz", "01234567890",
	"1q2w3e4r5t6z7u8i9o0p", "1q2w3e4r5t6y7u8i9o0p", "1qaz2wsx3edc4rfv5tgb6yhn7ujm"}

// standIn maps what people write in the place of letters.
var standIn = map[byte]byte{'@': 'a', '4': 'a', '3': 'e', '1': 'i', '!': 'i', '0': 'o', '$': 's', '5': 's', '7': 't'}

const (
	leastRun = 3 // keys in a row that count as a run
	mostTail = 4 // digits at the end that add nothing: a year, or a counter
	// A password is its owner's by so many bytes that are in none of the words and runs, or by so many of the words:
	// four out of 150 are 29 bits, and a pair of account and address has 16 in a year at its pace. Own choice, no source.
	leastOwn   = 4
	leastWords = 4
)

// common reports whether a password is one of those that are tried first.
func common(user, password string) bool {
	text := unstretched(strings.ToLower(password))
	words, own := parts(text[:period(text)], append(names(user), everybodys...))
	return own < leastOwn && words < leastWords
}

// unstretched returns a text without the signs around it and a few digits at its end.
func unstretched(text string) string {
	const signs = " !?.,;:-_+*#$%&/()=@"
	text = strings.Trim(text, signs)
	for range mostTail {
		text = strings.TrimRight(text, signs)
		if n := len(text) - 1; n >= 0 && text[n] >= '0' && text[n] <= '9' {
			text = text[:n]
		}
	}
	return text
}

// period returns after how many bytes a text repeats itself, its length where it does not.
func period(text string) int {
	for p := 1; p <= len(text)/2; p++ {
		if len(text)%p == 0 && strings.Repeat(text[:p], len(text)/p) == text {
			return p
		}
	}
	return len(text)
}

// names returns the parts of a user's name.
func names(user string) []string {
	list := strings.FieldsFunc(strings.ToLower(user), func(r rune) bool { return strings.ContainsRune(" .-_@'", r) })
	return slices.DeleteFunc(list, func(n string) bool { return len(n) < leastRun })
}

// sum is what a text consists of.
type sum struct{ own, words int }

func (s sum) less(t sum) bool { return s.own < t.own || s.own == t.own && s.words < t.words }

// parts splits a text so that as few of its bytes as possible are its owner's own, and then into as few words as
// possible. Signs, runs and words between others count as nothing.
func parts(text string, list []string) (words, own int) {
	best := make([]sum, len(text)+1)
	for i := 1; i <= len(text); i++ {
		best[i] = best[i-1]
		if c := text[i-1]; c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c > 0x7f {
			best[i].own++
		}
		try := func(n, words int) {
			if s := (sum{best[i-n].own, best[i-n].words + words}); s.less(best[i]) {
				best[i] = s
			}
		}
		for _, w := range list {
			if ends(text[:i], w) {
				try(len(w), 1)
			}
		}
		for _, w := range between {
			if ends(text[:i], w) {
				try(len(w), 0)
			}
		}
		for n := leastRun; n <= i && run(text[i-n:i]); n++ {
			try(n, 0)
		}
		if year(text[:i]) {
			try(4, 0)
		}
	}
	return best[len(text)].words, best[len(text)].own
}

// ends reports whether a text ends with a word, as it is or with signs and digits in the place of letters.
func ends(text, word string) bool {
	if len(text) < len(word) {
		return false
	}
	text = text[len(text)-len(word):]
	for i := range len(word) {
		if text[i] != word[i] && standIn[text[i]] != word[i] {
			return false
		}
	}
	return true
}

// year reports whether a text ends with a year of these centuries.
func year(text string) bool {
	n := len(text)
	return n >= 4 && (text[n-4:n-2] == "19" || text[n-4:n-2] == "20") && strings.Trim(text[n-2:], "0123456789") == ""
}

// run reports whether a text is keys in a row, there or back, or one key again and again.
func run(text string) bool {
	if strings.Count(text, text[:1]) == len(text) {
		return true
	}
	back := []byte(text)
	slices.Reverse(back)
	return slices.ContainsFunc(rows, func(row string) bool { return strings.Contains(row, text) || strings.Contains(row, string(back)) })
}
