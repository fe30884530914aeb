package mapping

import (
	"math"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	"strokewise/collector/topic"
)

const arrival = station.Instant(1767225600 * station.Second) // 2026-01-01T00:00:00Z

func at(t testing.TB, text string) *Pointer {
	t.Helper()
	p, err := ParsePointer(text)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// RFC 6901, section 5: the document and what each pointer evaluates to.
func TestPointersOfTheRFC(t *testing.T) {
	doc := map[string]any{"foo": []any{"bar", "baz"}, "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, `i\j`: 5, `k"l`: 6, " ": 7, "m~n": 8}
	for text, want := range map[string]any{"/foo/0": "bar", "/": 0, "/a~1b": 1, "/c%d": 2, "/e^f": 3, "/g|h": 4, `/i\j`: 5, `/k"l`: 6, "/ ": 7, "/m~0n": 8} {
		if got, ok := at(t, text).in(doc); !ok || got != want {
			t.Errorf("%s: got %v %v, want %v", text, got, ok, want)
		}
	}
	if got, ok := at(t, "").in(doc); !ok || got == nil {
		t.Error("the empty pointer is not the whole document")
	}
	for _, none := range []string{"/foo/2", "/foo/01", "/foo/-", "/none", "/a~1b/x"} { // sections 4 and 7
		if got, ok := at(t, none).in(doc); ok {
			t.Errorf("%s: got %v", none, got)
		}
	}
	for _, bad := range []string{"foo", "/a~2b", "/a~"} { // section 3
		if _, err := ParsePointer(bad); err == nil {
			t.Errorf("%q is accepted", bad)
		}
	}
}

// Times of ISO 8601-1:2019 in its extended and basic forms (the date of RFC 3339, section 5.8, first
// example: 1985-04-12T23:20:50.52Z), and Unix times, whose units differ by a thousand.
func TestTimes(t *testing.T) {
	example := station.Instant(482196050520 * station.Millisecond) // date -u -d 1985-04-12T23:20:50.52Z +%s
	for text, want := range map[string]station.Instant{
		`"1985-04-12T23:20:50.52Z"`: example, `"1985-04-12T23:20:50,52Z"`: example, `"1985-04-12 23:20:50.52Z"`: example,
		`"19850412T232050.52Z"`: example, `"1985-04-13T00:20:50.52+01:00"`: example, `"1985-04-13T00:20:50.52+0100"`: example, `"1985-04-13T00:20:50.52+01"`: example,
		`1767225600`: arrival, `1767225600000`: arrival, `1767225600000000`: arrival, `1767225600000000000`: arrival, `"1767225600"`: arrival,
		`1767225600.25`: arrival.Add(250 * station.Millisecond),
	} {
		m := Mapping{Value: at(t, "/v"), Time: Time{At: at(t, "/t")}}
		got, r := m.JSON([]byte(`{"v":1,"t":`+text+`}`), pressure(), nil)
		if r != nil || got[0].Why != nil || got[0].At != want || got[0].Stamp != station.StampDevice {
			t.Errorf("%s: got %+v, %v; want %s", text, got, r, want)
		}
	}
	for text, unit := range map[string]Unit{`"1985-04-12T23:20:50"`: ISO, `"yesterday"`: BySize, `1767225600`: ISO, `true`: Millis, `"x"`: Millis, `1e300`: Seconds, `null`: BySize} {
		m := Mapping{Value: at(t, "/v"), Time: Time{At: at(t, "/t"), Unit: unit}}
		got, r := m.JSON([]byte(`{"v":1,"t":`+text+`}`), pressure(), nil)
		if r != nil || len(got) != 1 || got[0].Why == nil || got[0].Why.Reason != payload.BadTime {
			t.Errorf("%s: got %+v, %v", text, got, r)
		}
	}
}

func pressure() *payload.Context {
	return &payload.Context{Channel: station.OutletPressure, HasChannel: true, Arrival: arrival}
}

// One message with many values of a machine, those of other channels ignored.
func TestAMachinesManyValues(t *testing.T) {
	m := Mapping{Station: Source{At: at(t, "/name")}, Time: Time{At: at(t, "/meta/ts"), Unit: Millis}, Comma: true, Values: []Value{
		{At: at(t, "/in/p"), Channel: station.InletPressure, HasChannel: true, Scale: &payload.Scale{Unit: "bar"}},
		{At: at(t, "/ai/1"), Channel: station.OutletPressure, HasChannel: true, Scale: &payload.Scale{Low: 0, High: 27648, From: 0, To: 16e5, Loop: true}},
		{At: at(t, "/n"), Channel: station.Cycles, HasChannel: true},
		{At: at(t, "/valve"), Channel: station.SupplyOpen, HasChannel: true},
		{At: at(t, "/temp"), Channel: station.TankTemperature, HasChannel: true, Scale: &payload.Scale{Factor: 0.1, Offset: -10}},
		{At: at(t, "/other/p"), Channel: station.HeaderPressure, HasChannel: true},
	}}
	got, r := m.JSON([]byte(`{"name":"press-4","meta":{"ts":1767225599500,"rssi":-70},"in":{"p":"6,12"},"ai":[1,13824],"n":7,"valve":"ON","temp":350}`), &payload.Context{Arrival: arrival, Comma: true}, nil)
	if r != nil || len(got) != 5 {
		t.Fatalf("got %+v, %v", got, r)
	}
	want := []float64{612e3, 8e5, 7, 1, 350*0.1 - 10 + 273.15}
	for i, x := range got {
		if x.Why != nil || math.Abs(x.Value-want[i]) > 1e-9*want[i] || x.Station != "press-4" || x.At != arrival.Add(-500*station.Millisecond) {
			t.Errorf("%s: got %+v, want %g", x.Channel, x, want[i])
		}
	}
}

// A list of objects, each with its name and time; a name that is not mapped is skipped, a bad one loses
// itself only.
func TestAListOfObjects(t *testing.T) {
	names, err := topic.CompileName("{station}.{channel}")
	if err != nil {
		t.Fatal(err)
	}
	m := Mapping{Each: at(t, "/list"), Name: at(t, "/id"), Value: at(t, "/val"), Time: Time{At: at(t, "/ts")}, Names: names, Values: []Value{
		{Name: "PT-101", Channel: station.OutletPressure, HasChannel: true, Station: "press-4", Scale: &payload.Scale{Unit: "bar"}}}}
	got, r := m.JSON([]byte(`{"ts":1767225600,"list":[{"id":"PT-101","val":9.1},{"id":"PT-101","val":"x","ts":1},{"id":"TT-9","val":1},
		{"id":"press-5.cycles","val":17,"ts":1767225601}]}`), &payload.Context{Arrival: arrival}, nil)
	if r != nil || len(got) != 3 {
		t.Fatalf("got %+v, %v", got, r)
	}
	if got[0].Value != 910e3 || got[0].Station != "press-4" || got[0].At != arrival {
		t.Errorf("got %+v", got[0])
	}
	if got[1].Why == nil || got[1].Why.Reason != payload.NotANumber {
		t.Errorf("got %+v", got[1])
	}
	if got[2].Station != "press-5" || got[2].Channel != station.Cycles || got[2].Value != 17 || got[2].At != arrival.Add(station.Second) {
		t.Errorf("got %+v", got[2])
	}
}

// NAMUR NE 43: a measurement is 3.8 to 20.5 mA, a failure at or below 3.6 and at or above 21 mA. On a card
// that counts 0 to 27648 for 4 to 20 mA that is 1728 a mA.
func TestABrokenWire(t *testing.T) {
	loop := &payload.Scale{Low: 0, High: 27648, From: 0, To: 16e5, Loop: true}
	m := Mapping{Value: at(t, ""), Values: []Value{{Channel: station.OutletPressure, HasChannel: true, Scale: loop}}}
	for count, broken := range map[string]bool{"-32768": true, "-700": true, "-691.2": true, "-345": false, "0": false, "27648": false, "28512": false, "29376": true, "32767": true} {
		c := pressure()
		c.Scales = m.Scales()
		got, r := m.JSON([]byte(count), c, nil)
		if r != nil || len(got) != 1 || (got[0].Why != nil) != broken || broken && got[0].Why.Reason != payload.BrokenWire {
			t.Errorf("%s: got %+v, %v", count, got, r)
		}
	}
}

func TestRefusalsOfJSON(t *testing.T) {
	m := Mapping{Value: at(t, "/v")}
	for data, want := range map[string]payload.Reason{"": payload.Empty, `{"v":1`: payload.NotJSON, `{"v":1}{}`: payload.NotJSON, `{"w":1}`: payload.NoMember,
		`[]`: payload.NoMember, `{"v":null}`: payload.NoMember} {
		if got, r := m.JSON([]byte(data), pressure(), nil); r == nil || r.Reason != want {
			t.Errorf("%s: got %+v, %v; want %s", data, got, r, want)
		}
	}
	for data, want := range map[string]payload.Reason{`{"v":true}`: payload.NotANumber, `{"v":[1]}`: payload.NotANumber, `{"v":{}}`: payload.NotANumber,
		`{"v":"9,1"}`: payload.NotANumber, `{"v":1e999}`: payload.NotFinite, `{"v":"inf"}`: payload.NotFinite} {
		if got, r := m.JSON([]byte(data), pressure(), nil); r != nil || len(got) != 1 || got[0].Why == nil || got[0].Why.Reason != want {
			t.Errorf("%s: got %+v, %v; want %s", data, got, r, want)
		}
	}
}

// The examples of the line protocol reference: escaped measurement, tags and field keys, all types of
// fields, a comment; and a bad line among good ones.
func TestLines(t *testing.T) {
	m := Mapping{Values: []Value{{At: at(t, "/fields/field key"), Channel: station.InletPressure, HasChannel: true}, {At: at(t, "/fields/count"), Channel: station.Cycles, HasChannel: true},
		{At: at(t, "/fields/open"), Channel: station.SupplyOpen, HasChannel: true}}, Station: Source{At: at(t, "/tags/tag Key1")}}
	got, r := m.Line([]byte("# a comment\n"+`my\ Measurement,tag\ Key1=press\ 4,tag\ Key2=x field\ key=612.4,count=17i,open=t 1767225600000000000`+"\n"+
		`bad line`+"\n"+`m,tag\ Key1=p5 count=3u,text="a, b" 1767225601000000000`+"\n"), &payload.Context{Arrival: arrival}, nil)
	if r != nil || len(got) != 5 {
		t.Fatalf("got %+v, %v", got, r)
	}
	if got[0].Value != 612.4e3 || got[0].Station != "press 4" || got[0].At != arrival || got[1].Value != 17 || got[2].Value != 1 {
		t.Errorf("got %+v", got[:3])
	}
	if got[3].Why == nil || got[3].Why.Reason != payload.BadLine || !strings.Contains(got[3].Why.Detail, "line 2") {
		t.Errorf("got %+v", got[3])
	}
	if got[4].Value != 3 || got[4].At != arrival.Add(station.Second) {
		t.Errorf("got %+v", got[4])
	}
}

// Without a mapping fields are called like channels, and tags like what they are; without a time it is
// that of the arrival.
func TestLinesWithoutAMapping(t *testing.T) {
	got, r := (&Mapping{}).Line([]byte("boost,site=northdock,station=press-4 inlet_pressure=612.4,humidity=3"), &payload.Context{Arrival: arrival}, nil)
	if r != nil || len(got) != 1 || got[0].Site != "northdock" || got[0].Station != "press-4" || got[0].Value != 612.4e3 || got[0].Stamp != station.StampArrival || got[0].At != arrival {
		t.Fatalf("got %+v, %v", got, r)
	}
}

// FuzzMapping holds that nothing panics, and that what is sound is finite and of a channel.
func FuzzMapping(f *testing.F) {
	for _, s := range []string{`{"v":1,"t":1767225600,"list":[{"id":"a.cycles","val":"1,5"}]}`, `[1,[2],{"v":[]}]`, `{"v":1e999}`, `{"t":"20260101T000000Z","v":"ON"}`,
		"m,a=b f=1,g=2i 1767225600000000000\nx", `m\ ,s\==1 f="a\"b"`, "\xff"} {
		f.Add([]byte(s))
	}
	names, _ := topic.CompileName("{station}.{channel}")
	p := func(s string) *Pointer { x, _ := ParsePointer(s); return x }
	ms := []Mapping{{Value: p("/v"), Time: Time{At: p("/t")}}, {Each: p("/list"), Name: p("/id"), Value: p("/val"), Names: names, Comma: true}, {Each: p(""), Value: p("")}}
	f.Fuzz(func(t *testing.T, data []byte) {
		for i := range ms {
			a, _ := ms[i].JSON(data, pressure(), nil)
			b, _ := ms[i].Line(data, pressure(), nil)
			for _, x := range append(a, b...) {
				if x.Why == nil && (math.IsNaN(x.Value) || math.IsInf(x.Value, 0) || x.Channel >= station.NumChannels) {
					t.Fatalf("sound: %+v", x)
				}
			}
		}
	})
}
