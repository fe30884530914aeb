package learned

import (
	"flag"
	"fmt"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/learned/learnedpb"
)

var update = flag.Bool("update", false, "add new fields to testdata/layout.txt")

// layout lists every field: message, number, kind and name.
func layout(f protoreflect.FileDescriptor) []string {
	var out []string
	for i := range f.Messages().Len() {
		m := f.Messages().Get(i)
		for k := range m.Fields().Len() {
			fd := m.Fields().Get(k)
			kind := fd.Kind().String()
			if fd.Kind() == protoreflect.MessageKind {
				kind = string(fd.Message().Name())
			}
			out = append(out, fmt.Sprintf("%s %d %s %s %s", m.Name(), fd.Number(), fd.Cardinality(), kind, fd.Name()))
		}
	}
	return out
}

// misses says why a field that was stored once is read no more, "" where it is, or is reserved.
func misses(f protoreflect.FileDescriptor, now []string, line string) string {
	if slices.Contains(now, line) {
		return ""
	}
	var message, rest string
	var number protoreflect.FieldNumber
	if n, err := fmt.Sscan(line, &message, &number, &rest); n != 3 {
		return fmt.Sprintf("cannot read %q: %v", line, err)
	}
	m := f.Messages().ByName(protoreflect.Name(message))
	name := line[strings.LastIndex(line, " ")+1:]
	switch {
	case m == nil:
		return "the message is gone: records of earlier versions hold it"
	case m.Fields().ByNumber(number) != nil:
		return fmt.Sprintf("number %d is used for something else now: give the new field another number", number)
	case !m.ReservedRanges().Has(number) || !m.ReservedNames().Has(protoreflect.Name(name)):
		return fmt.Sprintf("the field is gone or has another number: reserve %d and %q", number, name)
	}
	return ""
}

// What was stored by any version is read by this one: no number has changed its meaning. testdata/layout.txt
// has every field that ever was; -update adds to it, and takes nothing away.
func TestLayoutKeepsItsNumbers(t *testing.T) {
	const golden = "testdata/layout.txt"
	f := learnedpb.File_learnedpb_learned_proto
	now := layout(f)
	text, err := os.ReadFile(golden)
	if err != nil && !*update {
		t.Fatal(err)
	}
	was := strings.Split(strings.TrimSpace(string(text)), "\n")
	for _, line := range was {
		if why := misses(f, now, line); line != "" && why != "" {
			t.Errorf("%s: %s", line, why)
		}
	}
	for _, line := range now {
		if !slices.Contains(was, line) {
			if was = append(was, line); !*update {
				t.Errorf("%q is new: run go test ./cmd/internal/learned -update, which adds it to %s", line, golden)
			}
		}
	}
	if *update && !t.Failed() {
		if err := os.WriteFile(golden, []byte(strings.TrimSpace(strings.Join(was, "\n"))+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// The test above bites. Source of each row: a way in which a layout has changed elsewhere.
func TestChangedNumbersAreFound(t *testing.T) {
	f := learnedpb.File_learnedpb_learned_proto
	now := layout(f)
	for line, want := range map[string]bool{
		"LearnedBooster 6 optional int64 strokes":  false,
		"LearnedBooster 6 optional double strokes": true, // another kind
		"LearnedBooster 6 optional int64 cycles":   true, // another meaning
		"LearnedBooster 9 optional int64 strokes":  true, // another number
		"LearnedBooster 6 repeated int64 strokes":  true, // another cardinality
		"LearnedWear 1 optional int64 strokes":     true, // a message that is gone
	} {
		if got := misses(f, now, line) != ""; got != want {
			t.Errorf("%q: found %v, want %v", line, got, want)
		}
	}
}

// Each field of station.Learned has one of its name and kind in the proto, and the other way round.
func TestFieldsAgree(t *testing.T) {
	kinds := map[reflect.Kind]protoreflect.Kind{reflect.Float64: protoreflect.DoubleKind, reflect.Int64: protoreflect.Int64Kind,
		reflect.Bool: protoreflect.BoolKind, reflect.String: protoreflect.StringKind, reflect.Struct: protoreflect.MessageKind}
	var agree func(typ reflect.Type, m protoreflect.MessageDescriptor)
	agree = func(typ reflect.Type, m protoreflect.MessageDescriptor) {
		if typ.NumField() != m.Fields().Len() || typ.Name() != string(m.Name()) {
			t.Errorf("%s has %d fields, %s has %d", typ, typ.NumField(), m.Name(), m.Fields().Len())
		}
		for i := range typ.NumField() {
			f := typ.Field(i)
			fd, ft := m.Fields().ByName(nameOf(f.Name)), f.Type
			if fd == nil {
				t.Errorf("%s.%s has no field %s", typ.Name(), f.Name, nameOf(f.Name))
				continue
			}
			if fd.IsList() {
				ft = ft.Elem()
			}
			want := kinds[ft.Kind()]
			if ft == reflect.TypeFor[station.Instant]() {
				want = protoreflect.Sfixed64Kind
			}
			if fd.Kind() != want {
				t.Errorf("%s.%s is a %s, and a %s in the proto", typ.Name(), f.Name, ft, fd.Kind())
			}
			if ft.Kind() == reflect.Struct {
				agree(ft, fd.Message())
			}
		}
	}
	agree(reflect.TypeFor[station.Learned](), (&learnedpb.Learned{}).ProtoReflect().Descriptor())
}
