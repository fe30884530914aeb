package decimal

import (
	"encoding/json"
	"math"
	"strconv"
	"testing"
)

// FuzzParse holds the parser to encoding/json's grammar and strconv's values.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"0", "-0", "612.4", "1e3", "-1.5E-7", "01", "1.", ".5", "123456789012345.6", "0.000000000000001", "999999999999999", "1e999", "--1", "5,6"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, n, ok := Parse([]byte(s))
		if !ok {
			if x := json.Valid([]byte(s)) && len(s) > 0 && (s[0] == '-' || s[0]-'0' < 10); x {
				t.Fatalf("%q is a number", s)
			}
			return
		}
		want, err := strconv.ParseFloat(s[:n], 64)
		if err != nil && !math.IsInf(want, 0) {
			t.Fatalf("%q: %v", s[:n], err)
		}
		if math.Float64bits(v) != math.Float64bits(want) {
			t.Fatalf("%q: %v, strconv has %v", s[:n], v, want)
		}
		if !json.Valid([]byte(s[:n])) {
			t.Fatalf("%q is no JSON number", s[:n])
		}
	})
}

func TestParseDoesNotAllocate(t *testing.T) {
	b := []byte("612.45,")
	if n := testing.AllocsPerRun(100, func() { Parse(b) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}
