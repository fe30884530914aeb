package payload

import (
	"encoding/hex"
	"math"
	"strings"
	"testing"

	"github.com/fxamacker/cbor/v2"

	"strokewise/analyzer/station"
)

// everything makes each name a channel of its own, so that packs of other quantities can be read.
type everything struct{}

func (everything) Find(string) (Place, bool) { return Place{Channel: station.Cycles}, true }

func taker() *Context { return &Context{Arrival: arrival, Names: everything{}} }

// rfcCBOR is the pack of RFC 8428, section 5.1.2, in CBOR: with the labels of table 4 (-2 bn, -3 bt, -4 bu,
// -1 bver, 0 n, 1 u, 2 v, 6 t), in the order of section 6.
const rfcCBOR = "87a721781b75726e3a6465763a6f773a3130653230373361303130383030363a22fb41d303a15b00106223614120050067766f6c7461676501615602fb405e066666666666" +
	"a3006763757272656e74062402fb3ff3333333333333a3006763757272656e74062302fb3ff4cccccccccccda3006763757272656e74062202fb3ff6666666666666" +
	"a3006763757272656e74062102f93e00a3006763757272656e74062002fb3ff999999999999aa3006763757272656e74060002fb3ffb333333333333"

// The values of RFC 8428, section 5.1.2: a voltage of 120.1 and currents of 1.2 to 1.7 at -5 to 0 s from
// 1276020076.001.
func TestCBOROfTheRFC(t *testing.T) {
	data, err := hex.DecodeString(rfcCBOR)
	if err != nil {
		t.Fatal(err)
	}
	list, r := Read(data, taker(), nil)
	if r != nil || len(list) != 7 {
		t.Fatalf("got %+v, %v", list, r)
	}
	for i, x := range list {
		if x.Why == nil || x.Why.Reason != BadUnit { // volts and amperes are no unit of a channel
			t.Errorf("record %d: %+v", i, x)
		}
	}
	if list[0].Name != "urn:dev:ow:10e2073a0108006:voltage" || list[6].Name != "urn:dev:ow:10e2073a0108006:current" {
		t.Errorf("names %q, %q", list[0].Name, list[6].Name)
	}
	at, _ := station.InstantOfSeconds(1276020076.001)
	if list[0].At != at || list[6].At != at || list[1].At != at.Add(-5*station.Second) {
		t.Errorf("times %s, %s, %s", list[0].At, list[1].At, list[6].At)
	}
}

// pack writes SenML CBOR by the labels of RFC 8428, table 4.
func packOf(t testing.TB, records ...map[any]any) []byte {
	t.Helper()
	b, err := cbor.Marshal(records)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// RFC 8428, 6: values may be integers, floats of any size and decimal fractions (tag 4: 61.24e1 is [1, ...]).
func TestNumbersOfCBOR(t *testing.T) {
	for name, c := range map[string]struct {
		v    any
		want float64
	}{"integer": {612000, 612000}, "negative": {-5, -5}, "double": {612000.5, 612000.5}, "single": {float32(612000.5), 612000.5},
		"fraction": {cbor.Tag{Number: 4, Content: []any{-2, 61200050}}, 612000.5}} {
		got, r := Read(packOf(t, map[any]any{0: "a:outlet_pressure", 1: "Pa", 2: c.v, 6: 1767225600}), &Context{Arrival: arrival}, nil)
		if r != nil || len(got) != 1 || got[0].Why != nil || got[0].Value != c.want || got[0].At != arrival {
			t.Errorf("%s: got %+v, %v", name, got, r)
		}
	}
}

func TestABadRecordOfCBORLosesItselfOnly(t *testing.T) {
	good := map[any]any{0: "outlet_pressure", 1: "Pa", 2: 612000, 6: 1767225600}
	for name, bad := range map[string]map[any]any{"text": {0: "inlet_pressure", 3: "six"}, "null": {0: "inlet_pressure", 2: nil}, "NaN": {0: "inlet_pressure", 2: math.NaN()},
		"unit": {0: "inlet_pressure", 1: "V", 2: 1}, "label": {0: "inlet_pressure", "x_": 1, 2: 1}, "time": {0: "inlet_pressure", 2: 1, 6: 1e14}} {
		got, r := Read(packOf(t, bad, good), &Context{Arrival: arrival}, nil)
		if r != nil || len(got) != 2 || got[0].Why == nil || got[1].Why != nil || got[1].Value != 612e3 {
			t.Errorf("%s: got %+v, %v", name, got, r)
		}
	}
	for name, whole := range map[string][]byte{"cut": packOf(t, good)[:20], "version": packOf(t, map[any]any{-1: 11, 0: "outlet_pressure", 2: 1}), "more": append(packOf(t, good), 0)} {
		if got, r := Read(whole, &Context{Arrival: arrival}, nil); r == nil || r.Reason != BadSenML {
			t.Errorf("%s: got %+v, %v", name, got, r)
		}
	}
}

// RFC 8798, section 3: hPa is a secondary unit of 100 Pa. RFC 8428, 12.1: l/s is 1e-3 m3/s, Cel is K - 273.15.
func TestUnitsOfSenML(t *testing.T) {
	for unit, c := range map[string]struct {
		name string
		v    string
		want float64
	}{"hPa": {"outlet_pressure", "6124", 612400}, "Pa": {"outlet_pressure", "6124", 6124}, "bar": {"outlet_pressure", "6.124", 612400},
		"l/s": {"inlet_flow", "2", 2e-3}, "m3/s": {"inlet_flow", "2", 2}, "Cel": {"tank_temperature", "21.85", 295}, "K": {"tank_temperature", "295", 295}, "count": {"cycles", "7", 7}} {
		got, r := Read([]byte(`[{"n":"`+c.name+`","u":"`+unit+`","v":`+c.v+`,"t":1767225600}]`), &Context{Arrival: arrival}, nil)
		if r != nil || len(got) != 1 || got[0].Why != nil || math.Abs(got[0].Value-c.want) > 1e-9*c.want {
			t.Errorf("%s: got %+v, %v", unit, got, r)
		}
	}
}

func TestABadRecordOfJSONLosesItselfOnly(t *testing.T) {
	for _, bad := range []string{`{"n":"inlet_pressure","v":"6"}`, `{"n":"inlet_pressure","v":null}`, `{"n":"inlet_pressure","v":NaN}`, `{"n":"inlet_pressure","v":[1]}`,
		`{"n":"inlet_pressure","vb":1}`, `{"n":"inlet_pressure","x_":1,"v":6}`, `{"n":"inlet_pressure","vs":"six"}`, `{"n":"inlet_pressure","u":"V","v":6}`, `{"n":"inlet_pressure","s":6}`} {
		got, r := Read([]byte(`[`+bad+`,{"n":"outlet_pressure","u":"Pa","v":612000},{"n":"humidity","v":1}]`), &Context{Arrival: arrival}, nil)
		if r != nil || len(got) != 2 || got[0].Why == nil || got[1].Why != nil || got[1].Value != 612e3 {
			t.Errorf("%s: got %+v, %v", bad, got, r)
		}
	}
}

func TestDetect(t *testing.T) {
	for _, c := range []struct {
		topic, data string
		want        Format
	}{
		{"a", "612.4", Scalar}, {"a", " -1e3 ", Scalar}, {"a", "ON", Scalar}, {"a", "612,4", Scalar}, {"a", `{"t0":1}`, Block}, {"a", ` [{"n":"a"}]`, SenML}, {"a", "\x81\xa1", SenML}, {"a", "\x9f\xff", SenML},
		{"a", "boost,station=s inlet_pressure=1", Line}, {"a", "m f=1 1767225600000000000", Line}, {"spBv1.0/g/NDATA/n", "612.4", Sparkplug}, {"a", "", Auto}, {"a", "  ", Auto},
	} {
		if got := Detect(c.topic, []byte(c.data)); got != c.want {
			t.Errorf("%s %q: got %s, want %s", c.topic, c.data, got, c.want)
		}
	}
}

func TestWordsAndCommas(t *testing.T) {
	for text, want := range map[string]float64{"ON": 1, "off": 0, "Open": 1, "CLOSED": 0, "true": 1, "0": 0, "1": 1} {
		if got, r := decode(Auto, []byte(text), &Context{Channel: station.SupplyOpen, HasChannel: true}, nil); r != nil || got[0].Values[0] != want {
			t.Errorf("%s: got %+v, %v", text, got, r)
		}
	}
	c := inlet()
	c.Comma = true
	for text, want := range map[string]float64{"612,4": 612.4e3, "-1,5": -1.5e3, "612.4": 612.4e3, "7": 7e3} {
		if got, r := decode(Scalar, []byte(text), c, nil); r != nil || math.Abs(got[0].Values[0]-want) > 1e-9 {
			t.Errorf("%s: got %+v, %v", text, got, r)
		}
	}
	for _, text := range []string{"1.612,4", "1,2,3", ",", ""} {
		if got, r := decode(Scalar, []byte(text), c, nil); r == nil {
			t.Errorf("%s: got %+v", text, got)
		}
	}
}

// A block of two channels, one with a broken wire for a while: the other is whole, and the channel has its
// sound values. 5.53e3 counts a step of 3.2 mA on a card of 0 to 27648.
func TestABlockWithABrokenWire(t *testing.T) {
	var s Scales
	s[station.OutletPressure] = &Scale{Low: 0, High: 27648, From: 0, To: 16e5, Loop: true}
	c := &Context{Arrival: arrival, Scales: &s}
	got, r := decode(Auto, []byte(`{"t0":1767225600,"dt":0.1,"inlet_pressure":[600,601,602],"outlet_pressure":[13824,-32768,13824]}`), c, nil)
	if r == nil || r.Reason != BrokenWire || len(got) != 2 || got[0].Len() != 3 || got[1].Len() != 2 || got[1].Values[1] != 8e5 || got[1].At(1) != arrival.Add(200*station.Millisecond) {
		t.Errorf("got %+v, %v", got, r)
	}
	c.Ignore = []string{"rssi"}
	if got, r = decode(Auto, []byte(`{"t0":1767225600,"rssi":{"a":[1]},"inlet_pressure":[600]}`), c, nil); r != nil || len(got) != 1 {
		t.Errorf("got %+v, %v", got, r)
	}
	if _, r = decode(Auto, []byte(`{"t0":1767225600,"battery":3,"inlet_pressure":[600]}`), c, nil); r == nil || !strings.Contains(r.Detail, "ignore") {
		t.Errorf("got %v", r)
	}
}

// FuzzSenML holds that nothing panics, and that what is sound is finite.
func FuzzSenML(f *testing.F) {
	data, _ := hex.DecodeString(rfcCBOR)
	f.Add(data)
	f.Add(packOf(f, map[any]any{0: "outlet_pressure", 2: cbor.Tag{Number: 4, Content: []any{-2, 1}}, "x_": nil}))
	f.Add([]byte(`[{"bn":"a:","n":"inlet_pressure","v":nan,"t":1767225600},{"n":"cycles","vb":true}]`))
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, c := range []*Context{taker(), {Arrival: arrival}} {
			list, _ := Read(data, c, nil)
			var sound []Reading
			for _, x := range list {
				if x.Why == nil {
					if !finite(x.Value) {
						t.Fatalf("value %g", x.Value)
					}
					sound = append(sound, x)
				}
			}
			for _, b := range Gather(sound, nil) {
				for i := 1; i < b.Len(); i++ {
					if b.At(i) <= b.At(i-1) {
						t.Fatalf("times %s, %s", b.At(i-1), b.At(i))
					}
				}
			}
		}
	})
}
