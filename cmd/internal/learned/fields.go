package learned

import (
	"reflect"
	"strings"
	"unicode"

	"google.golang.org/protobuf/reflect/protoreflect"

	"strokewise/analyzer/station"
)

// nameOf returns the name in learned.proto of a field of station.Learned: DeepCutIn is deep_cut_in.
func nameOf(field string) protoreflect.Name {
	var b strings.Builder
	for i, c := range field {
		if unicode.IsUpper(c) && i > 0 {
			b.WriteByte('_')
		}
		b.WriteRune(unicode.ToLower(c))
	}
	return protoreflect.Name(b.String())
}

// write sets the fields of a message to those of l.
func write(m protoreflect.Message, l *station.Learned) { writeAll(m, reflect.ValueOf(l).Elem()) }

func writeAll(m protoreflect.Message, v reflect.Value) {
	for i := range v.NumField() {
		fd, f := fieldOf(m, v, i), v.Field(i)
		switch {
		case fd.IsList():
			m.Set(fd, listOf(m.NewField(fd), f))
		case f.Kind() == reflect.Struct:
			writeAll(m.Mutable(fd).Message(), f)
		default:
			m.Set(fd, scalar(f))
		}
	}
}

func listOf(to protoreflect.Value, v reflect.Value) protoreflect.Value {
	list := to.List()
	for i := range v.Len() {
		if v.Index(i).Kind() != reflect.Struct {
			list.Append(scalar(v.Index(i)))
			continue
		}
		e := list.NewElement()
		writeAll(e.Message(), v.Index(i))
		list.Append(e)
	}
	return to
}

// scalar returns a number, a truth or a text as protobuf has it.
func scalar(v reflect.Value) protoreflect.Value {
	switch v.Kind() {
	case reflect.Int64:
		return protoreflect.ValueOfInt64(v.Int())
	case reflect.Float64:
		return protoreflect.ValueOfFloat64(v.Float())
	case reflect.Bool:
		return protoreflect.ValueOfBool(v.Bool())
	default:
		return protoreflect.ValueOfString(v.String())
	}
}

// read sets l to the fields of a message.
func read(m protoreflect.Message, l *station.Learned) { readAll(m, reflect.ValueOf(l).Elem()) }

func readAll(m protoreflect.Message, v reflect.Value) {
	for i := range v.NumField() {
		fd, f := fieldOf(m, v, i), v.Field(i)
		switch {
		case fd.IsList():
			list := m.Get(fd).List()
			f.Set(reflect.MakeSlice(f.Type(), list.Len(), list.Len()))
			for k := range list.Len() {
				readOne(list.Get(k), f.Index(k))
			}
		default:
			readOne(m.Get(fd), f)
		}
	}
}

func readOne(p protoreflect.Value, v reflect.Value) {
	switch v.Kind() {
	case reflect.Struct:
		readAll(p.Message(), v)
	case reflect.Int64:
		v.SetInt(p.Int())
	case reflect.Float64:
		v.SetFloat(p.Float())
	case reflect.Bool:
		v.SetBool(p.Bool())
	default:
		v.SetString(p.String())
	}
}

// fieldOf returns the message's field for the i-th one of a struct. A test sees to it that there is one
// of its kind.
func fieldOf(m protoreflect.Message, v reflect.Value, i int) protoreflect.FieldDescriptor {
	return m.Descriptor().Fields().ByName(nameOf(v.Type().Field(i).Name))
}
