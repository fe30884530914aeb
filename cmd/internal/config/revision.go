package config

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"hash"
	"reflect"
	"strconv"

	"strokewise/analyzer/station"
)

// Revision gives the digest of a plate: 32 hex digits of the SHA-256 of the lines
// "field=value" of all fields that are not zero, in the order of their declaration,
// numbers exact. A field that is added later changes no digest while it is not used.
func Revision(p *station.Plate) string {
	h := sha256.New()
	digest(h, "", reflect.ValueOf(p).Elem())
	return hex.EncodeToString(h.Sum(nil)[:16])
}

func digest(h hash.Hash, name string, v reflect.Value) {
	if v.IsZero() {
		return
	}
	text := ""
	switch {
	case v.Kind() == reflect.Struct:
		for i := range v.NumField() {
			digest(h, name+"."+v.Type().Field(i).Name, v.Field(i))
		}
		return
	case v.CanFloat():
		text = strconv.FormatFloat(v.Float(), 'g', -1, 64)
	case v.CanInt():
		text = strconv.FormatInt(v.Int(), 10)
	case v.CanUint():
		text = strconv.FormatUint(v.Uint(), 10)
	case v.Kind() == reflect.String:
		text = strconv.Quote(v.String())
	case v.Kind() == reflect.Bool:
		text = strconv.FormatBool(v.Bool())
	default:
		panic("BUG: a plate field of a kind that has no canonical form: " + name)
	}
	fmt.Fprintf(h, "%s=%s\n", name, text)
}
