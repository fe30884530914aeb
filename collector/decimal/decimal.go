// Package decimal reads decimal numbers out of bytes without allocating, as payloads and
// recordings hold them by the million.
package decimal

import "strconv"

// Parse reads the number at the start of b by JSON's grammar and gives its value and its
// length; ok is false where there is none. The value is the one strconv.ParseFloat gives;
// beyond float64's range it is an infinity.
func Parse(b []byte) (v float64, n int, ok bool) {
	p := 0
	if p < len(b) && b[p] == '-' {
		p++
	}
	whole := p
	p = digits(b, p)
	if p == whole || b[whole] == '0' && p > whole+1 {
		return 0, 0, false
	}
	end, decimals := p, 0
	if p < len(b) && b[p] == '.' {
		end = digits(b, p+1)
		if decimals = end - p - 1; decimals == 0 {
			return 0, 0, false
		}
	}
	if end < len(b) && b[end]|0x20 == 'e' {
		e := end + 1
		if e < len(b) && (b[e] == '+' || b[e] == '-') {
			e++
		}
		last := digits(b, e)
		if last == e {
			return 0, 0, false
		}
		v, _ = strconv.ParseFloat(string(b[:last]), 64)
		return v, last, true
	}
	if p-whole+decimals <= 15 {
		return short(b[:end], decimals), end, true
	}
	v, _ = strconv.ParseFloat(string(b[:end]), 64)
	return v, end, true
}

func digits(b []byte, p int) int {
	for p < len(b) && b[p]-'0' < 10 {
		p++
	}
	return p
}

var tens = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// short gives the value of a number of at most 15 digits without exponent: the digits as
// an integer and the power of ten are both exact in float64, so their quotient is rounded
// once, as strconv rounds it.
func short(b []byte, decimals int) float64 {
	n := int64(0)
	for _, c := range b {
		if c -= '0'; c < 10 {
			n = n*10 + int64(c)
		}
	}
	v := float64(n)
	if decimals > 0 {
		v /= tens[decimals]
	}
	if b[0] == '-' {
		return -v
	}
	return v
}
