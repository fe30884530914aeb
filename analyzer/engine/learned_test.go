package engine

import (
	"bytes"
	"math"
	"reflect"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// lengths are how many elements the engine keeps of each list of station.Learned.
var lengths = map[string]int{
	"Figures": 2, "Readings": 5, "Days": 3, "Means": 3, "Drive": 3, "Spread": 9, "Precision": 9, "Moment": 3,
	"SeenLow": 3, "SeenHigh": 3, "UsedLow": 3, "UsedHigh": 3, "Line": 7, "CoolLeft": 14, "CoolRate": 14, "CoolRateSq": 14,
	"FloorParts": 2, "Past": 4, "Hours": 3,
	"Slots": 2, "Rates": 3,
}

// filler sets every field to another value, times hours apart.
type filler struct {
	t *testing.T
	n int
}

func (f *filler) fill(v reflect.Value, name string) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			f.fill(v.Field(i), v.Type().Field(i).Name)
		}
	case reflect.Slice:
		if lengths[name] == 0 {
			f.t.Fatalf("how many elements has %s?", name)
		}
		v.Set(reflect.MakeSlice(v.Type(), lengths[name], lengths[name]))
		for i := range v.Len() {
			f.fill(v.Index(i), name)
		}
	case reflect.Float64:
		f.n++
		v.SetFloat(float64(f.n))
	case reflect.Int64:
		f.n++
		v.SetInt(int64(f.n))
		if v.Type() == reflect.TypeFor[station.Instant]() {
			v.SetInt(int64(f.n) * 60 * station.Minute60)
		}
	case reflect.Bool:
		v.SetBool(true)
	case reflect.String:
		f.n++
		v.SetString(strings.Repeat("x", f.n%7+1))
	default:
		f.t.Fatalf("%s is a %s", name, v.Kind())
	}
}

// everything returns what an engine may have learned, each field with another value.
func everything(t *testing.T) *station.Learned {
	l := &station.Learned{}
	(&filler{t: t}).fill(reflect.ValueOf(l).Elem(), "")
	l.At = station.Instant(1000 * 60 * station.Minute60)
	l.Figures[0].Name, l.Figures[1].Name = station.Figures[station.LeakFlow].Name, station.Figures[station.TankVolume].Name
	l.Leak.Decay.Name, l.Leak.Makeup.Name, l.Leak.Joined.Name = "", "", ""
	for _, g := range [...]*station.LearnedFigure{&l.Figures[0], &l.Figures[1], &l.Leak.Decay, &l.Leak.Makeup, &l.Leak.Joined} {
		g.Method = station.MethodDecay.String()
	}
	l.Leak.Shape = 2
	for i := range l.Leak.Hours {
		l.Leak.Hours[i].Hour = int64(8*100 + i)
	}
	l.Use = station.LearnedUse{}                // the alarms'
	l.Like = station.LearnedLike{}              // the alarms'
	l.Supply.Strokes, l.Supply.StrokeAir = 0, 0 // of records before the deviation was kept
	return l
}

// sameRecord reports whether two records agree, but for the last digits of what is kept in other terms than the engine's.
func sameRecord(a, b *station.Learned) bool {
	x, y := *a, *b
	if math.Abs(x.Supply.Conductance/y.Supply.Conductance-1) < 1e-12 && math.Abs(x.Supply.Deviation/y.Supply.Deviation-1) < 1e-12 {
		x.Supply.Conductance, x.Supply.Deviation = y.Supply.Conductance, y.Supply.Deviation
	}
	return reflect.DeepEqual(x, y)
}

// plateOf is a plate that what was learned belongs to.
func plateOf(l *station.Learned) station.Plate {
	p := station.Plate{Key: station.Key{Site: "s", Station: "a"}, Serial: l.Booster.Serial, Overhauled: l.Booster.Overhauled, TankVolume: l.Booster.Tank}
	if l.Booster.Branch {
		p.Sensor = station.AtBranch
	}
	return p
}

// What is recalled is learned: no field is lost on the way, or lands in another one's place.
func TestLearnedComesBackWhole(t *testing.T) {
	want := everything(t)
	e := New(plateOf(want), discard{})
	e.Recall(want)
	e.status.At = want.At
	var got station.Learned
	e.Learned(&got)
	if !sameRecord(&got, want) {
		t.Errorf("recalled\n%+v\nkept\n%+v", *want, got)
	}
}

// Before the first sample the engine begins a segment; what was recalled outlives it, and a snapshot.
func TestLearnedOutlivesTheFirstSample(t *testing.T) {
	want := everything(t)
	e := New(plateOf(want), discard{})
	e.Recall(want)
	e.begin(want.At)
	var buf bytes.Buffer
	if err := e.Save(&buf); err != nil {
		t.Fatal(err)
	}
	e, err := Restore(&buf, discard{})
	if err != nil {
		t.Fatal(err)
	}
	e.status.At = want.At
	var got station.Learned
	e.Learned(&got)
	if !sameRecord(&got, want) {
		t.Errorf("recalled\n%+v\nkept\n%+v", *want, got)
	}
}

// An empty record changes nothing, and one of an engine that had learned nothing neither.
func TestNothingLearnedChangesNothing(t *testing.T) {
	all := everything(t)
	e := New(plateOf(all), discard{})
	e.Recall(all)
	before := e.core
	e.Recall(&station.Learned{})
	if !reflect.DeepEqual(before, e.core) {
		t.Error("an empty record changed the engine")
	}
	var none station.Learned
	fresh := New(plateOf(all), discard{})
	fresh.status.At = all.At
	fresh.Learned(&none)
	e.Recall(&none)
	e.status.At = all.At
	var got station.Learned
	e.Learned(&got)
	if !sameRecord(&got, all) {
		t.Errorf("what a fresh engine knows replaced\n%+v\nby\n%+v", *all, got)
	}
}

// Another booster, or another tank, has other usual values: what was learned with the former one is dropped
// as it is when the plate changes in a run.
func TestLearnedBelongsToItsPlate(t *testing.T) {
	l := everything(t)
	plate := plateOf(l)
	plate.Serial, plate.TankVolume = "another", 2*l.Booster.Tank
	e := New(plate, discard{})
	e.Recall(l)
	e.status.At = l.At
	var got station.Learned
	e.Learned(&got)
	if len(got.Leak.Past) != 0 || got.Leak.Decay.At != 0 || got.Delivery.Base.Blocks != 0 || e.Est[station.LeakFlow].Known() {
		t.Errorf("kept of another tank: leak %+v, delivery %+v", got.Leak, got.Delivery.Base)
	}
	if e.Plate.Serial != "another" {
		t.Errorf("the plate is %+v", e.Plate)
	}
	e.wearFigure(l.At)
	if e.Wear.Strokes != 0 || e.Speed.Base.Blocks != 0 {
		t.Errorf("another booster has %d strokes and usual strokes of %+v", e.Wear.Strokes, e.Speed.Base)
	}
}

// A figure that was recalled stands with its age, and says that what it was obtained from is not kept.
func TestRecalledFiguresHaveTheirAge(t *testing.T) {
	l := everything(t)
	e := New(plateOf(l), discard{})
	e.Recall(l)
	g := e.Est[station.LeakFlow]
	if !g.Known() || g.At != l.Figures[0].At || g.Value != l.Figures[0].Value {
		t.Errorf("recalled %+v as %+v", l.Figures[0], g)
	}
	x := e.Explain(station.LeakFlow)
	if len(x.Inputs) != 1 || x.Inputs[0].Text != g.At.Floor(station.Second).String() {
		t.Errorf("explained by %+v", x.Inputs)
	}
}

// Records of later versions, and damaged ones, may hold anything.
func FuzzRecall(f *testing.F) {
	f.Add(3, 1e9, int64(-5))
	f.Add(100, -1.0, int64(1)<<62)
	f.Fuzz(func(t *testing.T, n int, x float64, i int64) {
		l := everything(t)
		n = max(0, min(n, 100))
		var mess func(v reflect.Value)
		mess = func(v reflect.Value) {
			switch v.Kind() {
			case reflect.Struct:
				for i := range v.NumField() {
					mess(v.Field(i))
				}
			case reflect.Slice:
				v.Set(reflect.MakeSlice(v.Type(), n, n))
				for i := range n {
					mess(v.Index(i))
				}
			case reflect.Float64:
				v.SetFloat(x)
			case reflect.Int64:
				v.SetInt(i)
			}
		}
		mess(reflect.ValueOf(l).Elem())
		e := New(plateOf(everything(t)), discard{})
		e.Recall(l)
		e.begin(station.Instant(station.Second))
		e.slot(e.Slot, e.Slot.Add(slotLen))
		var got station.Learned
		e.Learned(&got)
	})
}

// working are the parts of an engine of which nothing is kept: why their loss is no loss. All others are kept in part.
var working = map[string]string{
	"Plate": "comes from the configuration", "Samples": "in the log",
	"Inlet": "of the slot", "Outlet": "of the slot", "Valve": "of the slot", "State": "of the moment, but for the governor's cut-in",
	"Ends": "learned again within two dozen strokes", "Counter": "from its next reading", "Fuse": "learned again within 16 strokes", "Pace": "learned again within two dozen strokes",
	"Weak": "of the last strokes", "Refuted": "of the last seconds", "RefThen": "goes with Pace", "Drawless": "of the last strokes", "Counted": "goes with Ends",
	"Rested": "goes with Pace", "Struck": "counts differences only", "Feed": "the header of the moment", "Needed": "of the last quarter of an hour", "Act": "of the slot",
	"Starts": "of the last hour", "Closed": "of the present shutdown", "Wall": "of the last quarter of an hour", "Rounds": "of the last minutes", "Mismatch": "200 counts",
	"Silence": "since the last increment", "Jitter": "of the last samples", "Health": "16 strokes", "Proof": "since the inlet fell", "Min": "of the open minute", "Rate": "of the last minute",
	"Unsure": "of the present run", "Dates": "learned again within some cycles", "Sensors": "evidence of the last hour",
	"Leak": "of the present stand and the last minutes", "Warmth": "of the last minutes", "Pops": "of the last ten minutes", "Basis": "what figures were obtained from: recalled ones say that it is not kept",
}

// Each part of an engine is kept by Learned, at least in part, or named above with the reason why not: a part that learns for
// days must not be forgotten.
func TestEveryPartIsKeptOrWorking(t *testing.T) {
	l := everything(t)
	e := New(plateOf(l), discard{})
	empty := New(plateOf(l), discard{})
	e.Recall(l)
	is, was := reflect.ValueOf(&e.core).Elem(), reflect.ValueOf(&empty.core).Elem()
	for i := range is.NumField() {
		name := is.Type().Field(i).Name
		changed := !reflect.DeepEqual(is.Field(i).Interface(), was.Field(i).Interface())
		switch why, listed := working[name]; {
		case !changed && !listed:
			t.Errorf("nothing of %s is kept over an upgrade: add what it learns over hours to station.Learned and a keep of its own, or name it in working with the reason", name)
		case changed && listed && name != "State" && name != "Basis":
			t.Errorf("%s is kept, and named as working state (%s)", name, why)
		}
	}
	for name := range working {
		if _, ok := is.Type().FieldByName(name); !ok {
			t.Errorf("%s is gone: take it from the list", name)
		}
	}
}
