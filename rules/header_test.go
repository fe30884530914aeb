package rules

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

const began station.Instant = 1_767_225_600 * station.Instant(station.Second)

func sec(s float64) station.Instant { return began.Add(int64(s * 1e9)) }

// told is what a header concluded.
type told struct {
	Transitions []Transition
	Judgements  map[int64]Judgement // the newest of each transition
}

func (o *told) header(p HeaderPolicy) *Header {
	o.Judgements = map[int64]Judgement{}
	return NewHeader(station.HeaderKey("north", ""), p,
		func(t *Transition) { o.Transitions = append(o.Transitions, *t) },
		func(j Judgement) { o.Judgements[j.Seq] = j })
}

func (o *told) of(to AlarmState) (n int) {
	for i := range o.Transitions {
		if o.Transitions[i].To == to {
			n++
		}
	}
	return n
}

func change(at float64, id string, c FeedChange) HeaderInput {
	return HeaderInput{At: sec(at), Station: id, Feed: &Feed{At: sec(at), Change: c, Inlet: 300e3, Rest: 600e3}}
}

func moved(at float64, id, alarm string, to AlarmState, raised float64, seq int64) HeaderInput {
	return HeaderInput{At: sec(at), Station: id, Alarm: &HeaderTransition{Seq: seq, Alarm: alarm, To: to, Raised: sec(raised)}}
}

// plant gives n fed stations.
func fedStations(n int) (in []HeaderInput) {
	for i := range n {
		in = append(in, change(-600, fmt.Sprintf("s%02d", i), Fed))
	}
	return in
}

// cascade is ten of twelve stations that lose their header within four seconds and starve,
// one that starves of its own, and the return of the air after ten minutes; with one
// station whose outlet stays low for another reason.
func cascade() []HeaderInput {
	in := fedStations(12)
	seq := int64(100)
	for i := range 10 {
		id, at := fmt.Sprintf("s%02d", i), 0.4*float64(i)
		in = append(in, change(at, id, Fell))
		seq++
		in = append(in, moved(at+31, id, "outlet-low", Unacknowledged, at+31, seq))
		seq++
		in = append(in, moved(at+62, id, "starved", Unacknowledged, at+62, seq))
		in = append(in, change(600+at, id, Back))
		seq++
		in = append(in, moved(605+at, id, "starved", ReturnedUnacknowledged, at+62, seq))
		if i != 3 {
			seq++
			in = append(in, moved(640+at, id, "outlet-low", ReturnedUnacknowledged, at+31, seq))
		}
	}
	in = append(in, moved(70, "s11", "outlet-low", Unacknowledged, 70, 7))
	for i := range in {
		in[i].Seq = int64(i + 1)
	}
	return in
}

func decide(in []HeaderInput, steps ...float64) (o told) {
	h := o.header(UsualHeader)
	for _, x := range in {
		h.Push(x)
	}
	for _, s := range steps {
		h.Advance(sec(s))
	}
	h.Advance(sec(3600))
	return o
}

// A header that falls is one alarm, raised after the hold-off with all stations under it;
// what they say is folded, what is not theirs is told, and what still stands five minutes
// after the header is back is told then.
func TestALowHeaderIsOneAlarm(t *testing.T) {
	o := decide(cascade())
	if o.of(Unacknowledged) != 1 || o.of(ReturnedUnacknowledged) != 1 || len(o.Transitions) != 2 {
		t.Fatalf("%+v", o.Transitions)
	}
	up, down := o.Transitions[0], o.Transitions[1]
	// the fourth station makes 4 of 12 (30 % are 3.6), at 1.2 s; the hold-off is 10 s
	if up.At != sec(1.2+10) || up.Alarm != HeaderLow || up.Key != station.HeaderKey("north", "main") || up.Priority != Medium {
		t.Errorf("raised %+v", up)
	}
	for i := range 10 {
		if !strings.Contains(up.Evidence[len(up.Evidence)-1].Text, fmt.Sprintf("s%02d", i)) {
			t.Errorf("s%02d is not listed: %+v", i, up.Evidence)
		}
	}
	// half of the four that it took keep it up; with the ninth that starves no longer, at 608.2 s, it begins to end
	if down.At != sec(605+0.4*8+10) || down.Raised != up.Raised {
		t.Errorf("cleared %+v", down)
	}
	toldOf := []int64{}
	for seq, j := range o.Judgements {
		if j.Tell {
			toldOf = append(toldOf, seq)
		} else if j.Why != HeaderLow {
			t.Errorf("%+v", j)
		}
	}
	slices.Sort(toldOf)
	outletOf3 := int64(100 + 3*4 + 1) // stations 0..2 have four transitions each
	if !reflect.DeepEqual(toldOf, []int64{7, outletOf3}) || len(o.Judgements) != 40 {
		t.Errorf("told of %v, %d judged", toldOf, len(o.Judgements))
	}
}

// Nothing of an occurrence is kept once it is over.
func TestAHeaderForgetsWhatIsOver(t *testing.T) {
	var o told
	h := o.header(UsualHeader)
	in := cascade()
	for i := range 10 {
		id, at := fmt.Sprintf("s%02d", i), 0.4*float64(i)
		in = append(in, moved(700, id, "starved", Normal, at+62, int64(1000+i)), moved(701, id, "outlet-low", Normal, at+31, int64(2000+i)))
	}
	for _, x := range in {
		h.Push(x)
	}
	h.Advance(sec(3600))
	if len(h.Folded) != 0 || len(h.Waiting) != 0 || len(h.Inbox) != 0 || len(h.Members) != 12 {
		t.Errorf("%d folded, %d wait, %d stations", len(h.Folded), len(h.Waiting), len(h.Members))
	}
}

// The order in which stations are heard, the steps in which time passes, and a restart at
// any of them change nothing.
func TestAHeaderDoesNotDependOnTheOrderOfArrival(t *testing.T) {
	want := decide(cascade())
	r := rand.New(rand.NewPCG(1, 2))
	for round := range 200 {
		in := cascade()
		var got told
		h := got.header(UsualHeader)
		now := sec(-700)
		for len(in) > 0 {
			now = now.Add(int64(r.ExpFloat64() * 20e9))
			var ripe, rest []HeaderInput
			for _, x := range in {
				// some come early, none late
				if x.At <= now || r.IntN(8) == 0 {
					ripe = append(ripe, x)
				} else {
					rest = append(rest, x)
				}
			}
			r.Shuffle(len(ripe), func(i, j int) { ripe[i], ripe[j] = ripe[j], ripe[i] })
			for _, x := range ripe {
				h.Push(x)
			}
			in = rest
			h.Advance(now)
			if r.IntN(3) == 0 {
				var buf bytes.Buffer
				if err := h.Save(&buf); err != nil {
					t.Fatal(err)
				}
				again, err := RestoreHeader(&buf, h.key, h.policy, h.emit, h.judge)
				if err != nil {
					t.Fatal(err)
				}
				h = again
			}
		}
		h.Advance(sec(3600))
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("round %d:\n got %+v\nwant %+v", round, got, want)
		}
	}
}

// Alarms on stored pressure and others that need somebody at once never wait for a header.
func TestNothingFailSafeIsExplained(t *testing.T) {
	for _, d := range Catalogue() {
		if d.FailSafe && Explainable(d.Name) {
			t.Errorf("%s is fail-safe and would be explained away", d.Name)
		}
	}
	for _, name := range []string{PressureLeft, PressureReturned, OverPressure, "relief-lifting", OutletLeak, SignalLost, "sensor-frozen", "sensor-implausible"} {
		if Explainable(name) {
			t.Errorf("%s would be explained away", name)
		}
	}
	for _, name := range signs {
		if !Explainable(name) {
			t.Errorf("%s is a sign and is not explained", name)
		}
	}
}

func TestWhatIsNoLowHeader(t *testing.T) {
	few := append(fedStations(12), change(0, "s00", Fell), change(1, "s01", Fell), change(2, "s02", Fell))
	slow := append(fedStations(6), change(0, "s00", Fell), change(50, "s01", Fell), change(100, "s02", Fell), change(150, "s03", Fell))
	short := fedStations(6)
	for i := range 6 {
		id := fmt.Sprintf("s%02d", i)
		short = append(short, change(0, id, Fell), change(7, id, Back))
	}
	outlets := fedStations(6)
	for i := range 6 {
		outlets = append(outlets, moved(3, fmt.Sprintf("s%02d", i), "outlet-low", Unacknowledged, 3, int64(i+1)))
	}
	two := append(fedStations(2), change(0, "s00", Fell), change(0, "s01", Fell))
	for name, in := range map[string][]HeaderInput{"three of twelve": few, "one after the other": slow, "for seven seconds": short, "outlets alone": outlets, "two stations": two} {
		o := decide(in)
		if len(o.Transitions) != 0 {
			t.Errorf("%s: %+v", name, o.Transitions)
		}
		for _, j := range o.Judgements {
			if !j.Tell {
				t.Errorf("%s: %+v", name, j)
			}
		}
	}
	if o := decide(outlets); len(o.Judgements) != 6 {
		t.Errorf("%+v", o.Judgements)
	}
	if o := decide(append(fedStations(3), change(0, "s00", Fell), change(20, "s01", Fell), change(40, "s02", Fell))); len(o.Transitions) != 1 {
		t.Errorf("three within a minute: %+v", o.Transitions)
	}
}

// A header that falls too slowly for the inlets to tell shows when its stations starve.
func TestStationsThatStarveTogetherAreALowHeader(t *testing.T) {
	in := fedStations(6)
	for i := range 4 {
		in = append(in, moved(float64(10*i), fmt.Sprintf("s%02d", i), "starved", Unacknowledged, float64(10*i), int64(i+1)))
	}
	o := decide(in)
	// at 20 s three have starved; what was raised before 10 s was told at the end of its own hold-off
	if o.of(Unacknowledged) != 1 || o.Transitions[0].At != sec(30) {
		t.Fatalf("%+v", o.Transitions)
	}
	for seq, tell := range map[int64]bool{1: true, 2: false, 3: false, 4: false} {
		if o.Judgements[seq].Tell != tell {
			t.Errorf("transition %d: %+v", seq, o.Judgements[seq])
		}
	}
}

// A header's alarm that a person has taken out of service or shelved explains nothing: else
// nobody would be told at all.
func TestAHeaderThatIsKeptBackExplainsNothing(t *testing.T) {
	for _, c := range []station.Command{
		{Kind: "out-of-service", Alarm: HeaderLow, By: "Ana", Note: "header is rebuilt"},
		{Kind: "shelve", Alarm: HeaderLow, By: "Ana", Note: "header is rebuilt", Until: sec(3000)},
	} {
		in := append([]HeaderInput{{At: sec(-300), Command: &c}}, cascade()...)
		o := decide(in)
		for seq, j := range o.Judgements {
			if !j.Tell {
				t.Errorf("%s: transition %d is not told", c.Kind, seq)
			}
		}
		if len(o.Judgements) != 40 || o.of(Unacknowledged) != 0 {
			t.Errorf("%s: %d judged, %+v", c.Kind, len(o.Judgements), o.Transitions)
		}
	}
}

// A person's word goes in like all inputs, at its own time.
func TestAPersonAcknowledgesAHeader(t *testing.T) {
	c := station.Command{Kind: "acknowledge", Alarm: HeaderLow, By: "Ana"}
	o := decide(append(cascade(), HeaderInput{At: sec(100), Command: &c}))
	var got []string
	for _, x := range o.Transitions {
		got = append(got, x.To.String()+" "+x.By)
	}
	if !reflect.DeepEqual(got, []string{"unacknowledged ", "acknowledged Ana", "normal "}) {
		t.Errorf("%q", got)
	}
}

// One that comes late counts at its own time; decisions made already stay.
func TestALateStationJoins(t *testing.T) {
	var o told
	h := o.header(UsualHeader)
	for _, x := range cascade()[:12] {
		h.Push(x)
	}
	h.Advance(sec(-1))
	for _, x := range []HeaderInput{change(0, "s00", Fell), change(0, "s01", Fell), change(0, "s02", Fell), change(0, "s03", Fell)} {
		h.Push(x)
	}
	h.Advance(sec(20))
	h.Push(change(1, "s04", Fell))
	h.Push(moved(5, "s04", "starved", Unacknowledged, 5, 9))
	h.Advance(sec(21))
	if got := h.Under(); len(got) != 5 {
		t.Errorf("under it: %v", got)
	}
	if j := o.Judgements[9]; j.Tell || j.Why != HeaderLow {
		t.Errorf("%+v", j)
	}
}

// A header whose state was lost stands on: what its stations say of their feed is enough.
func TestAHeaderIsTakenUpFromWhatIsKnownElsewhere(t *testing.T) {
	var o told
	h := o.header(UsualHeader)
	h.Adopt([]Transition{{Alarm: HeaderLow, To: Acknowledged, Raised: sec(-60)}})
	for i := range 4 {
		h.Seed(fmt.Sprintf("s%02d", i), FeedState{Fed: i > 2, Fell: sec(-90), Rest: 600e3})
	}
	h.Advance(sec(100))
	if len(o.Transitions) != 0 || len(h.Under()) != 4 {
		t.Fatalf("%+v, under it %v", o.Transitions, h.Under())
	}
	for i := range 4 {
		h.Push(change(110, fmt.Sprintf("s%02d", i), Back))
	}
	h.Advance(sec(130))
	if len(o.Transitions) != 1 || o.Transitions[0].To != Normal {
		t.Errorf("%+v", o.Transitions)
	}
}
