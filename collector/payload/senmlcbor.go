package payload

import (
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/fxamacker/cbor/v2"
)

// The labels of SenML CBOR (RFC 8428, table 4).
const (
	cborVersion  = -1
	cborBaseName = -2
	cborBaseTime = -3
	cborBaseUnit = -4
	cborBaseVal  = -5
	cborName     = 0
	cborUnit     = 1
	cborValue    = 2
	cborText     = 3
	cborBool     = 4
	cborSum      = 5
	cborTime     = 6
	cborData     = 8
)

// cborMode bounds what a pack may hold, and refuses what is ambiguous.
var cborMode = func() cbor.DecMode {
	m, err := cbor.DecOptions{DupMapKey: cbor.DupMapKeyEnforcedAPF, MaxArrayElements: max(16, MaxSamples+1), MaxMapPairs: 64, MaxNestedLevels: 8}.DecMode()
	if err != nil {
		panic("BUG: " + err.Error())
	}
	return m
}()

// readCBOR reads a SenML CBOR pack (RFC 8428, 6).
func readCBOR(data []byte, c *Context, dst []Reading) ([]Reading, *Refusal) {
	var records []map[any]any
	if err := cborMode.Unmarshal(data, &records); err != nil {
		return dst, refuse(BadSenML, "cannot read the CBOR: %v; the message may be cut off", cborFault(err))
	}
	p := packed{c: c, list: dst}
	for _, fields := range records {
		rec, r := recordOf(fields, &p.base)
		if r == nil {
			r = p.add(&rec)
		}
		if r != nil {
			return dst, r
		}
	}
	return p.end(dst)
}

// cborFault words an error of the library that says little by itself.
func cborFault(err error) error {
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		return errors.New("it ends too early")
	}
	return err
}

// recordOf returns the record of a CBOR map and updates the base fields.
func recordOf(fields map[any]any, b *base) (rec record, r *Refusal) {
	for label, v := range fields {
		n, ok := integer(label)
		if text, isText := label.(string); isText {
			if len(text) > 0 && text[len(text)-1] == '_' {
				rec.lose(BadSenML, "the label %.40q must be understood, and is not", text)
			}
			continue
		}
		if !ok {
			continue
		}
		if n == cborVersion {
			if x, ok := cborNumber(v); !ok || x > newest {
				return rec, refuse(BadSenML, "SenML version %v is not understood; RFC 8428 is version %d", v, newest)
			}
			continue
		}
		rec.label(n, v, b)
	}
	return rec, nil
}

// label sets what a label stands for.
func (rec *record) label(n int64, v any, b *base) {
	text := map[int64]*string{cborBaseName: &b.name, cborBaseUnit: &b.unit, cborName: &rec.name, cborUnit: &rec.unit}[n]
	if text != nil {
		s, ok := v.(string)
		if !ok {
			rec.lose(BadSenML, "the label %d must be a text", n)
		}
		*text = s
		return
	}
	into := map[int64]*float64{cborBaseTime: &b.time, cborBaseVal: &b.val, cborTime: &rec.time, cborValue: &rec.value}[n]
	if into != nil {
		x, ok := cborNumber(v)
		switch {
		case !ok:
			rec.lose(BadSenML, "the label %d must be a number, and is %s", n, kindOf(v))
		case !finite(x):
			rec.lose(NotFinite, "the label %d is not finite, or beyond 1e15", n)
		default:
			*into = x
		}
		rec.hasValue = rec.hasValue || n == cborValue
		return
	}
	switch n {
	case cborBool:
		on, ok := v.(bool)
		if !ok {
			rec.lose(BadSenML, "the label %d must be true or false", n)
		}
		rec.hasValue, rec.isBool = true, true
		if on {
			rec.value = 1
		}
	case cborText, cborSum, cborData:
		rec.other = true
	}
}

// kindOf names a value's type, for messages.
func kindOf(v any) string {
	if v == nil {
		return "null"
	}
	return fmt.Sprintf("%T", v)
}

// integer returns a label as a whole number.
func integer(v any) (int64, bool) {
	switch x := v.(type) {
	case uint64:
		return int64(min(x, math.MaxInt64)), true
	case int64:
		return x, true
	}
	return 0, false
}

// cborNumber returns a value of CBOR as a number. Decimal fractions (RFC 8949, 3.4.4) are among those that
// SenML allows (RFC 8428, 6).
func cborNumber(v any) (float64, bool) {
	switch x := v.(type) {
	case uint64:
		return float64(x), true
	case int64:
		return float64(x), true
	case float64:
		return x, true
	case float32:
		return float64(x), true
	case cbor.Tag:
		return fraction(x)
	}
	return 0, false
}

// decimalFraction is the tag of a decimal fraction: [exponent, mantissa].
const decimalFraction = 4

func fraction(t cbor.Tag) (float64, bool) {
	parts, ok := t.Content.([]any)
	if t.Number != decimalFraction || !ok || len(parts) != 2 {
		return 0, false
	}
	e, exact := integer(parts[0])
	m, whole := integer(parts[1])
	if !exact || !whole || e < -300 || e > 300 {
		return 0, false
	}
	if e < 0 {
		return float64(m) / math.Pow10(int(-e)), true
	}
	return float64(m) * math.Pow10(int(e)), true
}
