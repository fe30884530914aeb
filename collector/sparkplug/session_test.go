package sparkplug

import (
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	pb "strokewise/collector/sparkplug/sparkplugpb"
)

const arrival = station.Instant(1767225600 * station.Second)

// ms is the arrival in the unit of Sparkplug.
const ms = uint64(1767225600000)

type value func(*pb.Metric)

func double(v float64) value {
	return func(m *pb.Metric) { m.Value = &pb.Metric_DoubleValue{DoubleValue: v} }
}
func whole(v uint32, datatype uint32) value {
	return func(m *pb.Metric) { m.Value, m.Datatype = &pb.Metric_IntValue{IntValue: v}, &datatype }
}

// of builds a metric; an alias of 0 is none.
func of(name string, alias uint64, v value) *pb.Metric {
	t := ms
	m := &pb.Metric{Timestamp: &t}
	if name != "" {
		m.Name = &name
	}
	if alias != 0 {
		m.Alias = &alias
	}
	v(m)
	return m
}

// sends lets a session read a message.
func sends(t testing.TB, s *Session, topic string, seq uint64, metrics ...*pb.Metric) ([]payload.Reading, *payload.Refusal) {
	t.Helper()
	return sendsAs(t, s, topic, ms, seq, How{Ask: true}, metrics...)
}

func sendsAs(t testing.TB, s *Session, topic string, sent, seq uint64, how How, metrics ...*pb.Metric) ([]payload.Reading, *payload.Refusal) {
	t.Helper()
	data, err := proto.Marshal(&pb.Payload{Timestamp: &sent, Seq: &seq, Metrics: metrics})
	if err != nil {
		t.Fatal(err)
	}
	id, ok := Parse(topic)
	if !ok {
		t.Fatalf("%s is no topic", topic)
	}
	return s.Read(id, data, how, &payload.Context{Arrival: arrival}, nil)
}

const (
	birth   = "spBv1.0/hall.2/NBIRTH/gw-1"
	data    = "spBv1.0/hall.2/NDATA/gw-1"
	dBirth  = "spBv1.0/hall.2/DBIRTH/gw-1/press-4"
	dData   = "spBv1.0/hall.2/DDATA/gw-1/press-4"
	dDeath  = "spBv1.0/hall.2/DDEATH/gw-1/press-4"
	death   = "spBv1.0/hall.2/NDEATH/gw-1"
	pOutlet = "Station.4/outlet_pressure"
)

// A birth says what aliases mean; data by alias is read by it, and names may hold dots and slashes.
func TestBirthsGiveAliasesTheirNames(t *testing.T) {
	var s Session
	if _, r := sends(t, &s, birth, 0, of("bdSeq", 0, whole(3, 8))); r != nil {
		t.Fatal(r)
	}
	got, r := sends(t, &s, dBirth, 1, of(pOutlet, 7, double(900)), of("Properties/Maker", 8, func(m *pb.Metric) { m.Value = &pb.Metric_StringValue{StringValue: "x"} }))
	if r != nil || len(got) != 1 || got[0].Channel != station.OutletPressure || got[0].Value != 900e3 || got[0].At != arrival {
		t.Fatalf("birth: %+v, %v", got, r)
	}
	if got, r = sends(t, &s, dData, 2, of("", 7, double(901)), of("", 8, double(1))); r != nil || len(got) != 1 || got[0].Value != 901e3 || got[0].Name != pOutlet {
		t.Fatalf("data: %+v, %v", got, r)
	}
	// an alias that is in no birth loses itself only
	if got, r = sends(t, &s, dData, 3, of("", 7, double(902)), of("", 99, double(1))); r != nil || len(got) != 2 || got[0].Why != nil || got[1].Why == nil || got[1].Why.Reason != payload.NotBorn {
		t.Fatalf("data: %+v, %v", got, r)
	}
}

// What is missed is asked for with the metric of the specification (3.0, 6.4.19), once in a while; nothing is read until the birth is there.
func TestAMissingMessage(t *testing.T) {
	var asked []string
	s := Session{Ask: func(topic string, data []byte) {
		var p pb.Payload
		if err := proto.Unmarshal(data, &p); err != nil || len(p.Metrics) != 1 || p.Metrics[0].GetName() != "Node Control/Rebirth" || !p.Metrics[0].GetBooleanValue() {
			t.Errorf("asked with %v, %v", &p, err)
		}
		asked = append(asked, topic)
	}}
	if _, r := sends(t, &s, dData, 9, of("", 7, double(1))); r == nil || r.Reason != payload.NotBorn {
		t.Fatalf("before the birth: %v", r)
	}
	sends(t, &s, birth, 0, of("bdSeq", 0, whole(3, 8)))
	sends(t, &s, dBirth, 1, of(pOutlet, 7, double(900)))
	if _, r := sends(t, &s, dData, 3, of("", 7, double(901))); r == nil || r.Reason != payload.NotBorn {
		t.Fatalf("over the gap: %v", r)
	}
	if _, r := sends(t, &s, dData, 4, of("", 7, double(901))); r == nil {
		t.Fatal("after the gap it is read")
	}
	if len(asked) != 1 || asked[0] != "spBv1.0/hall.2/NCMD/gw-1" {
		t.Errorf("asked %v, want once within 10 s", asked)
	}
	// the alias means something else now
	sends(t, &s, birth, 0, of("bdSeq", 0, whole(4, 8)))
	sends(t, &s, dBirth, 1, of("Station.4/cycles", 7, whole(5, 7)))
	got, r := sends(t, &s, dData, 2, of("", 7, whole(6, 7)))
	if r != nil || len(got) != 1 || got[0].Channel != station.Cycles || got[0].Value != 6 {
		t.Fatalf("after the birth: %+v, %v", got, r)
	}
	// a stored message from before is not read by the new meaning, and one from after is
	if got, r := sendsAs(t, &s, dData, ms-1, 200, How{Again: true}, of("", 7, double(901))); r == nil || r.Reason != payload.NotBorn {
		t.Errorf("from before: %+v, %v", got, r)
	}
	if got, r := sendsAs(t, &s, dData, ms, 200, How{Again: true}, of("", 7, whole(6, 7))); r != nil || len(got) != 1 {
		t.Errorf("from after: %+v, %v", got, r)
	}
	if _, r := sends(t, &s, dData, 3, of("", 7, whole(7, 7))); r != nil {
		t.Errorf("a stored message moved the order: %v", r)
	}
}

// Sequence numbers run from 255 to 0 (specification 3.0, 6.4.3), and the last message once more is a redelivery.
func TestSequenceNumbersRunRound(t *testing.T) {
	var s Session
	sends(t, &s, birth, 0, of(pOutlet, 7, double(900)))
	for i := 1; i < 600; i++ {
		if _, r := sends(t, &s, data, uint64(i%256), of("", 7, double(900))); r != nil {
			t.Fatalf("message %d: %v", i, r)
		}
	}
	if _, r := sends(t, &s, data, 599%256, of("", 7, double(900))); r != nil {
		t.Errorf("a redelivery: %v", r)
	}
}

// A death ends what births said; the last will of an older connection does not.
func TestDeaths(t *testing.T) {
	var s Session
	sends(t, &s, birth, 0, of("bdSeq", 0, whole(3, 8)))
	sends(t, &s, dBirth, 1, of(pOutlet, 7, double(900)))
	sends(t, &s, death, 0, of("bdSeq", 0, whole(2, 8)))
	if _, r := sends(t, &s, dData, 2, of("", 7, double(901))); r != nil {
		t.Fatalf("after the death of an older connection: %v", r)
	}
	sends(t, &s, dDeath, 3)
	if _, r := sends(t, &s, dData, 4, of("", 7, double(901))); r == nil || r.Reason != payload.NotBorn {
		t.Fatalf("after the device's death: %v", r)
	}
	sends(t, &s, dBirth, 5, of(pOutlet, 7, double(900)))
	if _, r := sends(t, &s, dData, 6, of("", 7, double(901))); r != nil {
		t.Fatalf("after the device's birth: %v", r)
	}
	sends(t, &s, death, 0, of("bdSeq", 0, whole(3, 8)))
	if _, r := sends(t, &s, dData, 7, of("", 7, double(901))); r == nil || r.Reason != payload.NotBorn {
		t.Fatalf("after the death: %v", r)
	}
}

// Signed integers are in two's complement (specification 3.0, 6.4.16); units and quality are properties.
func TestValues(t *testing.T) {
	property := func(key string, v *pb.PropertyValue) value {
		return func(m *pb.Metric) {
			m.Value = &pb.Metric_DoubleValue{DoubleValue: 6}
			m.Properties = &pb.PropertySet{Keys: []string{key}, Values: []*pb.PropertyValue{v}}
		}
	}
	text := func(s string) *pb.PropertyValue {
		return &pb.PropertyValue{Value: &pb.PropertyValue_StringValue{StringValue: s}}
	}
	quality := func(q uint32) *pb.PropertyValue {
		return &pb.PropertyValue{Value: &pb.PropertyValue_IntValue{IntValue: q}}
	}
	for name, c := range map[string]struct {
		v    value
		want float64
		why  payload.Reason
	}{
		"int16":   {whole(65526, 2), -10e3, ""},
		"int32":   {whole(4294967286, 3), -10e3, ""},
		"uint32":  {whole(900, 7), 900e3, ""},
		"float":   {func(m *pb.Metric) { m.Value = &pb.Metric_FloatValue{FloatValue: 612.5} }, 612.5e3, ""},
		"bar":     {property("engUnit", text("bar")), 6e5, ""},
		"volt":    {property("engUnit", text("V")), 0, payload.BadUnit},
		"good":    {property("Quality", quality(192)), 6e3, ""},
		"stale":   {property("Quality", quality(500)), 0, payload.BadSparkplug},
		"boolean": {func(m *pb.Metric) { m.Value = &pb.Metric_BooleanValue{BooleanValue: true} }, 0, payload.NotANumber},
		"bytes":   {func(m *pb.Metric) { m.Value = &pb.Metric_BytesValue{BytesValue: []byte{1}} }, 0, payload.BadSparkplug},
	} {
		var s Session
		got, r := sends(t, &s, birth, 0, of("outlet_pressure", 7, c.v))
		if r != nil || len(got) != 1 {
			t.Errorf("%s: %+v, %v", name, got, r)
			continue
		}
		if c.why == "" && (got[0].Why != nil || got[0].Value != c.want) || c.why != "" && (got[0].Why == nil || got[0].Why.Reason != c.why) {
			t.Errorf("%s: got %+v, want %g %s", name, got[0], c.want, c.why)
		}
	}
}

// The payload's fields have the numbers of the specification (3.0, 6.4.1 and its protobuf schema): a
// message that is written field by field is read.
func TestFieldNumbersOfTheSpecification(t *testing.T) {
	var m []byte
	m = protowire.AppendString(protowire.AppendTag(m, 1, protowire.BytesType), "outlet_pressure")
	m = protowire.AppendVarint(protowire.AppendTag(m, 2, protowire.VarintType), 7)
	m = protowire.AppendVarint(protowire.AppendTag(m, 3, protowire.VarintType), ms)
	m = protowire.AppendVarint(protowire.AppendTag(m, 4, protowire.VarintType), 7)
	m = protowire.AppendVarint(protowire.AppendTag(m, 10, protowire.VarintType), 900)
	var p []byte
	p = protowire.AppendVarint(protowire.AppendTag(p, 1, protowire.VarintType), ms)
	p = protowire.AppendBytes(protowire.AppendTag(p, 2, protowire.BytesType), m)
	p = protowire.AppendVarint(protowire.AppendTag(p, 3, protowire.VarintType), 0)
	p = protowire.AppendString(protowire.AppendTag(p, 4, protowire.BytesType), "uuid")
	var s Session
	id, _ := Parse(birth)
	got, r := s.Read(id, p, How{}, &payload.Context{Arrival: arrival}, nil)
	if r != nil || len(got) != 1 || got[0].Value != 900e3 || got[0].At != arrival {
		t.Fatalf("got %+v, %v", got, r)
	}
}

func TestTopics(t *testing.T) {
	for topic, want := range map[string]bool{birth: true, dData: true, "spBv1.0/STATE/host": false, "spBv1.0/g/NCMD/n": false, "spBv1.0/g/NDATA/n/d": false,
		"spBv1.0/g/DDATA/n": false, "spAv1.0/g/NDATA/n": false, "spBv1.0//NDATA/n": false} {
		if _, ok := Parse(topic); ok != want {
			t.Errorf("%s: %v", topic, ok)
		}
	}
}

// FuzzSession holds that nothing panics, whatever edge nodes send in whatever order.
func FuzzSession(f *testing.F) {
	seq := uint64(0)
	name, alias := "outlet_pressure", uint64(7)
	whole, err := proto.Marshal(&pb.Payload{Seq: &seq, Metrics: []*pb.Metric{{Name: &name, Alias: &alias, Value: &pb.Metric_DoubleValue{DoubleValue: 1}}}})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(whole, whole, uint8(0))
	f.Add(whole[:len(whole)-1], []byte{}, uint8(3))
	topics := []string{birth, data, death, dBirth, dData, dDeath}
	f.Fuzz(func(t *testing.T, a, b []byte, order uint8) {
		var s Session
		for i, data := range [][]byte{a, b, a, b} {
			id, _ := Parse(topics[(int(order)>>i)%len(topics)])
			got, _ := s.Read(id, data, How{Again: i == 2}, &payload.Context{Arrival: arrival}, nil)
			for _, x := range got {
				if x.Why == nil && (x.Value != x.Value || x.Channel >= station.NumChannels) {
					t.Fatalf("sound: %+v", x)
				}
			}
		}
	})
}
