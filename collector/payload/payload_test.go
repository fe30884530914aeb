package payload

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

const arrival = station.Instant(1767225600 * station.Second)

// decode decodes as the intake does, for one station: readings are gathered, and a message of which all
// readings are lost is refused for the first.
func decode(f Format, data []byte, c *Context, dst []station.Block) ([]station.Block, *Refusal) {
	if f == Auto {
		f = Detect("boost/x", data)
	}
	if f != SenML {
		return Decode(f, data, c, dst)
	}
	list, r := Read(data, c, nil)
	if r != nil {
		return dst, r
	}
	var sound []Reading
	for _, x := range list {
		if x.Why == nil {
			sound = append(sound, x)
		} else if r == nil {
			r = x.Why
		}
	}
	if len(sound) == 0 {
		return dst, r
	}
	return Gather(sound, dst), nil
}

func inlet() *Context {
	return &Context{Channel: station.InletPressure, HasChannel: true, Arrival: arrival}
}

func TestScalar(t *testing.T) {
	got, r := decode(Auto, []byte(" 612.4\n"), inlet(), nil)
	if r != nil || len(got) != 1 || got[0].Values[0] != 612.4e3 || got[0].Stamp != station.StampArrival || got[0].At(0) != arrival {
		t.Fatalf("got %+v, %v", got, r)
	}
	c := &Context{Channel: station.SupplyOpen, HasChannel: true, Arrival: arrival}
	if got, r = decode(Scalar, []byte("true"), c, nil); r != nil || got[0].Values[0] != 1 {
		t.Fatalf("got %+v, %v", got, r)
	}
	c = &Context{Channel: station.InletPressure, HasChannel: true, PressureUnit: 1e5}
	if got, r = decode(Scalar, []byte("6.3"), c, nil); r != nil || math.Abs(got[0].Values[0]-6.3e5) > 1e-9 {
		t.Fatalf("got %+v, %v", got, r)
	}
}

func TestBlockOfOneChannel(t *testing.T) {
	got, r := decode(Auto, []byte(`{"t0": 1767225600.25, "dt": 0.01, "v": [612.4, 612.5, 611]}`), inlet(), nil)
	if r != nil || len(got) != 1 {
		t.Fatalf("got %+v, %v", got, r)
	}
	b := &got[0]
	if b.Step != 10*station.Millisecond || b.At(2) != arrival.Add(270*station.Millisecond) || b.Values[1] != 612.5e3 || b.Stamp != station.StampDevice {
		t.Errorf("got %+v", b)
	}
}

func TestBlockOfSeveralChannels(t *testing.T) {
	got, r := decode(Block, []byte(`{"cycles":[7,null,8],"dt":0.1,"t0":1767225600,"inlet_pressure":[1,2,3]}`), &Context{Arrival: arrival}, nil)
	if r != nil || len(got) != 2 {
		t.Fatalf("got %+v, %v", got, r)
	}
	c := &got[0]
	if c.Channel != station.Cycles || c.Len() != 2 || c.At(1) != arrival.Add(200*station.Millisecond) || c.Values[1] != 8 {
		t.Errorf("cycles: %+v", c)
	}
	if p := &got[1]; p.Channel != station.InletPressure || p.Values[2] != 3e3 {
		t.Errorf("inlet: %+v", p)
	}
}

func TestBlockWithStepThatIsNoWholeMicrosecond(t *testing.T) {
	got, r := decode(Block, []byte(`{"t0":1767225600,"dt":0.3333333333,"v":[1,2,3,4]}`), inlet(), nil)
	if r != nil || got[0].At(3) != arrival.Add(station.Second) || got[0].At(1) != arrival.Add(333333*station.Microsecond) {
		t.Fatalf("got %+v, %v", got, r)
	}
}

func TestBlockWithListedTimes(t *testing.T) {
	got, r := decode(Block, []byte(`{"t":[1767225600,1767225600.5,1767225603],"v":[1,2,3]}`), inlet(), nil)
	if r != nil || got[0].At(2) != arrival.Add(3*station.Second) {
		t.Fatalf("got %+v, %v", got, r)
	}
}

// RFC 8428, section 5.1.2 (multiple data points), example 3 there: base fields, then the
// current at t -5..0 resolved to 1276020071.001 .. 1276020076.001.
func TestSenMLTimesOfTheRFC(t *testing.T) {
	pack := `[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1276020076.001,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
		{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},{"n":"current","t":-3,"v":1.4},
		{"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]`
	if _, r := decode(SenML, []byte(pack), &Context{Arrival: arrival}, nil); r == nil || r.Reason != UnknownChannel {
		t.Fatalf("volts of no channel: %v", r)
	}
	// the same pack with a channel's name and unit in the place of the current
	pack = strings.NewReplacer(`"bu":"A"`, `"bu":"Pa"`, `"n":"voltage","u":"V","v":120.1`, `"n":"cycles","u":"count","v":120`, `"current"`, `"inlet_pressure"`).Replace(pack)
	got, r := decode(Auto, []byte(pack), &Context{Arrival: arrival}, nil)
	if r != nil || len(got) != 2 {
		t.Fatalf("got %+v, %v", got, r)
	}
	in := &got[0]
	if in.Channel != station.InletPressure || in.Len() != 6 {
		t.Fatalf("got %+v", in)
	}
	for i, want := range []float64{1.2, 1.3, 1.4, 1.5, 1.6, 1.7} {
		at, _ := station.InstantOfSeconds(1276020071.001 + float64(i))
		if in.Values[i] != want || in.At(i) != at {
			t.Errorf("record %d: %g at %s", i, in.Values[i], in.At(i))
		}
	}
}

func TestSenMLRelativeTimesCountFromArrival(t *testing.T) {
	got, r := decode(SenML, []byte(`[{"n":"inlet_pressure","u":"Pa","t":-2,"v":5},{"n":"inlet_pressure","u":"Pa","v":6}]`), &Context{Arrival: arrival}, nil)
	if r != nil || got[0].Stamp != station.StampArrival || got[0].At(0) != arrival.Add(-2*station.Second) || got[0].At(1) != arrival {
		t.Fatalf("got %+v, %v", got, r)
	}
}

func TestSenMLUnitsAndNames(t *testing.T) {
	got, r := decode(SenML, []byte(`[{"bn":"urn:dev:press-4/","n":"tank_temperature","u":"Cel","v":21.85,"t":1767225600},
		{"n":"supply_open","vb":true,"t":1767225600},{"n":"outlet_pressure","v":900,"t":1767225600}]`), &Context{Arrival: arrival}, nil)
	if r != nil || len(got) != 3 {
		t.Fatalf("got %+v, %v", got, r)
	}
	if got[0].Values[0] != 900e3 || got[1].Values[0] != 1 || got[2].Values[0] != 295 {
		t.Errorf("got %+v", got)
	}
	got, r = decode(SenML, []byte(`[{"v":612,"t":1767225600}]`), inlet(), nil)
	if r != nil || got[0].Values[0] != 612e3 {
		t.Errorf("the topic's channel: %+v, %v", got, r)
	}
}

func TestRefusals(t *testing.T) {
	none := &Context{Arrival: arrival}
	long := `{"t0":1767225600,"dt":0.01,"v":[` + strings.Repeat("1,", MaxSamples) + `1]}`
	for _, c := range []struct {
		data string
		ctx  *Context
		want Reason
	}{
		{"", inlet(), Empty},
		{"  ", inlet(), Empty},
		{"twelve", inlet(), NotANumber},
		{"612,4", inlet(), NotANumber},
		{"0x1p4", inlet(), NotANumber},
		{"NaN", inlet(), NotFinite},
		{"-inf", inlet(), NotFinite},
		{"1e999", inlet(), NotFinite},
		{"612.4", none, NoChannel},
		{`{"t0":1767225600,"dt":0.01,"v":[612.4,`, inlet(), NotJSON},
		{`{"t0":1767225600,"dt":0.01,"v":[1]} x`, inlet(), NotJSON},
		{`{"t0":1767225600,"dt":0.01,"v":[01]}`, inlet(), NotJSON},
		{`{"t0":1767225600,"dt":0.01,"v":[1 2]}`, inlet(), NotJSON},
		{`{"t0":1767225600,"dt":0.01,"v":[NaN]}`, inlet(), NotFinite},
		{`{"t0":1767225600,"dt":0.01,"v":[1e300]}`, inlet(), NotFinite},
		{`{"t0":1767225600,"dt":0.01,"v":[1]}`, none, NoChannel},
		{`{"t0":1767225600,"dt":0.01,"volts":[1]}`, none, UnknownChannel},
		{`{"t0":1767225600,"dt":0.01,"v":1}`, inlet(), BadBlock},
		{`{"t0":1767225600,"v":[1,2]}`, inlet(), BadBlock},
		{`{"t0":1767225600,"dt":-1,"v":[1,2]}`, inlet(), BadBlock},
		{`{"dt":1,"v":[1,2]}`, inlet(), BadBlock},
		{`{"t0":1e300,"dt":1,"v":[1,2]}`, inlet(), NotFinite},
		{`{"t0":1e12,"dt":1,"v":[1,2]}`, inlet(), BadBlock},
		{`{"t0":1,"t0":2,"dt":1,"v":[1,2]}`, inlet(), BadBlock},
		{`{"t":[2,1],"v":[1,2]}`, inlet(), BadBlock},
		{`{"t":[1,2],"v":[1]}`, inlet(), BadBlock},
		{`{"t0":1767225600,"dt":1}`, inlet(), BadBlock},
		{`{"t0":1767225600,"dt":1,"v":[]}`, inlet(), Empty},
		{long, inlet(), TooLong},
		{`[]`, inlet(), Empty},
		{`[{"n":"inlet_pressure","u":"V","v":6}]`, none, BadUnit},
		{"true", inlet(), NotANumber},
		{`[{"n":"inlet_pressure","x_":1,"v":6}]`, none, BadSenML},
		{`[{"n":"inlet_pressure","vs":"six"}]`, none, BadSenML},
		{`[{"n":"inlet_pressure","bver":11,"v":6}]`, none, BadSenML},
		{`[{"n":"inlet_pressure","v":6`, none, NotJSON},
		{`[{"n":"humidity","v":6}]`, none, UnknownChannel},
	} {
		name := c.data
		if len(name) > 60 {
			name = name[:60]
		}
		_, r := decode(Auto, []byte(c.data), c.ctx, nil)
		if r == nil || r.Reason != c.want {
			t.Errorf("%q: got %v, want %s", name, r, c.want)
		}
	}
}

// FuzzDecode holds the hand-written scanner to encoding/json: what we take must be JSON
// with the same numbers; nothing panics; times increase and values are finite.
func FuzzDecode(f *testing.F) {
	for _, s := range []string{"612.4", "NaN", `{"t0":1767225600.5,"dt":0.01,"v":[1,2.50,-3e2,null]}`, `{"t":[1,2],"v":[1,2]}`,
		`{"cycles":[1],"t0":1,"dt":1,"inlet_pressure":[2]}`, `[{"bn":"a:","n":"inlet_pressure","v":1,"t":1767225600,"x":{"y":[1]}}]`,
		`[{"n":"cycles\u0000","v":1}]`, `{"v":[1`, `{"\u0076":[1],"t0":0}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, c := range []*Context{inlet(), {Arrival: arrival}} {
			got, r := decode(Auto, data, c, nil)
			if r != nil {
				continue
			}
			for i := range got {
				b := &got[i]
				for j, v := range b.Values {
					if math.IsNaN(v) || math.IsInf(v, 0) {
						t.Fatalf("value %g", v)
					}
					if j > 0 && b.At(j) <= b.At(j-1) {
						t.Fatalf("times %s, %s", b.At(j-1), b.At(j))
					}
				}
			}
			if s := strings.TrimSpace(string(data)); s[0] == '{' {
				sameAsJSON(t, data, got)
			} else if s[0] == '[' && !json.Valid(data) && !cborArray(data) {
				t.Fatalf("took what is no JSON")
			}
		}
	})
}

func sameAsJSON(t *testing.T, data []byte, got []station.Block) {
	var m map[string]any
	if err := json.Unmarshal(data, &m); err != nil {
		t.Fatalf("took what is no JSON: %v", err)
	}
	n := 0
	for k, v := range m {
		if k == "t0" || k == "dt" || k == "t" {
			continue
		}
		for _, x := range v.([]any) {
			if x != nil {
				n++
			}
		}
	}
	for i := range got {
		n -= got[i].Len()
		b := &got[i]
		list, ok := m[b.Channel.String()].([]any)
		if !ok {
			list, _ = m["v"].([]any)
		}
		j := 0
		for _, x := range list {
			if x == nil || j >= b.Len() {
				continue
			}
			if want := b.Channel.SI(x.(float64), 1e3); b.Values[j] != want {
				t.Fatalf("value %d is %v, encoding/json has %v", j, b.Values[j], want)
			}
			j++
		}
	}
	if n != 0 {
		t.Fatalf("%d values lost or made up", n)
	}
}

// benchmark payloads of 100 samples
func blockJSON(n int) []byte {
	var b strings.Builder
	b.WriteString(`{"t0":1767225600.0,"dt":0.01,"v":[`)
	for i := range n {
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, "%.1f", 600+10*math.Sin(float64(i)))
	}
	b.WriteString(`]}`)
	return []byte(b.String())
}

func senmlOf(n int) []byte {
	var b strings.Builder
	b.WriteString(`[{"bn":"urn:dev:press-4:","bt":1767225600,"bu":"Pa"}`)
	for i := range n {
		fmt.Fprintf(&b, `,{"n":"inlet_pressure","t":%g,"v":%.0f}`, float64(i)*0.01, 600e3+1e4*math.Sin(float64(i)))
	}
	b.WriteString(`]`)
	return []byte(b.String())
}

func BenchmarkDecode(b *testing.B) {
	const n = 100
	for _, c := range []struct {
		name    string
		samples int
		run     func() error
	}{
		{"block", n, decoder(blockJSON(n))},
		{"block/encoding-json", n, func() func() error {
			data := blockJSON(n)
			return func() error {
				var x struct {
					T0 float64   `json:"t0"`
					Dt float64   `json:"dt"`
					V  []float64 `json:"v"`
				}
				return json.Unmarshal(data, &x)
			}
		}()},
		{"senml", n, decoder(senmlOf(n))},
		{"senml/encoding-json", n, func() func() error {
			data := senmlOf(n)
			return func() error {
				var x []struct {
					BN string   `json:"bn"`
					BT float64  `json:"bt"`
					BU string   `json:"bu"`
					N  string   `json:"n"`
					T  float64  `json:"t"`
					V  *float64 `json:"v"`
				}
				return json.Unmarshal(data, &x)
			}
		}()},
		{"scalar", 1, decoder([]byte("612.4"))},
		{"scalar/encoding-json", 1, func() error { var v float64; return json.Unmarshal([]byte("612.4"), &v) }},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := c.run(); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*c.samples), "ns/sample")
		})
	}
}

func decoder(data []byte) func() error {
	c := inlet()
	var dst []station.Block
	return func() error {
		var r *Refusal
		if dst, r = decode(Auto, data, c, dst[:0]); r != nil {
			return r
		}
		return nil
	}
}
