package learned

import (
	"bytes"
	"encoding/json"
	"os"
	"reflect"
	"testing"

	"google.golang.org/protobuf/encoding/protowire"

	"strokewise/analyzer/station"
)

// written reads a record as the first version wrote it, and its content then: of "first" every field has another
// value, "press-4" is of 30 hours of a virtual station.
func written(t *testing.T, name string) (data []byte, want station.Learned) {
	t.Helper()
	data, err := os.ReadFile("testdata/" + name + ".bin")
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile("testdata/" + name + ".json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &want); err != nil {
		t.Fatal(err)
	}
	return data, want
}

// The first version's records are read by this one: every field by its number. None of these files is ever
// written anew.
func TestFirstRecordIsRead(t *testing.T) {
	for _, name := range []string{"first", "press-4"} {
		data, want := written(t, name)
		r, err := Decode(data)
		if err != nil {
			t.Fatal(err)
		}
		if got := r.Learned(); !reflect.DeepEqual(plain(t, got), plain(t, &want)) {
			t.Errorf("%s: read\n%+v\nwant\n%+v", name, *got, want)
		}
	}
}

// plain returns a record as JSON has it: no list and an empty one are the same.
func plain(t *testing.T, l *station.Learned) map[string]any {
	t.Helper()
	text, err := json.Marshal(l)
	if err != nil {
		t.Fatal(err)
	}
	text = bytes.ReplaceAll(text, []byte("null"), []byte("[]"))
	out := map[string]any{}
	if err := json.Unmarshal(text, &out); err != nil {
		t.Fatal(err)
	}
	return out
}

// field returns the bytes of a field with a number that this version does not have.
func field(n protowire.Number, content string) []byte {
	return protowire.AppendString(protowire.AppendTag(nil, n, protowire.BytesType), content)
}

// A record of a later version goes through this one, after a step back: what was added to it is there when the later
// version reads it again.
func TestWhatALaterVersionAddedStays(t *testing.T) {
	data, _ := written(t, "press-4")
	figure := protowire.AppendString(protowire.AppendTag(nil, 1, protowire.BytesType), "figure_of_later")
	supply := field(900, "within the supply")
	leak := append(protowire.AppendString(protowire.AppendTag(nil, 1, protowire.BytesType), station.Figures[station.SupplySag].Name), field(901, "within a figure")...)
	later := append(data[:len(data):len(data)], field(902, "a part of its own")...)
	for n, part := range map[protowire.Number][]byte{2: figure, 4: supply} {
		later = protowire.AppendBytes(protowire.AppendTag(later, n, protowire.BytesType), part)
	}
	r, err := Decode(later)
	if err != nil {
		t.Fatal(err)
	}
	l := r.Learned()
	l.Figures = append(l.Figures[:0], station.LearnedFigure{Name: station.Figures[station.SupplySag].Name, Method: "traces", Value: 1, At: l.At})
	l.Booster.Strokes += 100
	r.Set(l)
	again, err := r.Encode()
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"within the supply", "a part of its own", "figure_of_later"} {
		if !bytes.Contains(again, []byte(text)) {
			t.Errorf("%q is lost", text)
		}
	}
	back, err := Decode(again)
	if err != nil {
		t.Fatal(err)
	}
	if got := back.Learned(); got.Booster.Strokes != l.Booster.Strokes || len(got.Figures) != 2 {
		t.Errorf("%d strokes, figures %+v", got.Booster.Strokes, got.Figures)
	}
	r, err = Decode(protowire.AppendBytes(protowire.AppendTag(nil, 2, protowire.BytesType), leak))
	if err != nil {
		t.Fatal(err)
	}
	r.Set(l)
	if again, err = r.Encode(); err != nil || !bytes.Contains(again, []byte("within a figure")) {
		t.Errorf("what was added to a figure is lost, %v", err)
	}
}

// What is set is what is read, and the same content has the same bytes.
func TestSetIsRead(t *testing.T) {
	_, want := written(t, "press-4")
	var r Record
	r.Set(&want)
	a, err := r.Encode()
	if err != nil {
		t.Fatal(err)
	}
	r.Set(&want)
	b, err := r.Encode()
	if err != nil || !bytes.Equal(a, b) {
		t.Errorf("set twice: %d and %d bytes, %v", len(a), len(b), err)
	}
	if got := r.Learned(); !reflect.DeepEqual(plain(t, got), plain(t, &want)) {
		t.Errorf("read\n%+v\nwant\n%+v", *got, want)
	}
}

// Bytes that are none of ours are refused or read, and nothing else.
func FuzzDecode(f *testing.F) {
	f.Add([]byte{8})
	f.Add(field(1, "x"))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := Decode(data)
		if err != nil {
			return
		}
		l := r.Learned()
		r.Set(l)
		if _, err := r.Encode(); err != nil {
			t.Errorf("cannot write what was read: %v", err)
		}
	})
}
