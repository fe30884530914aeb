package web

import (
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
)

// firstRunView is the page.
type firstRunView struct {
	Root, Version string
	Mark          string // of our own pages
	None          bool   // no station is configured
	Problem       string
	ListenAt
	Running, Some bool
	Trouble       string
	Summary       string
	LeftOut       int64
	Unread        []HeardTopic
	Site          string
	Slots         []slotView
	Rest          []rowView // values that are taken for nothing
	More          int       // of those, that are left out
	Channels      []string
	Units         []string
	File, Faults  string
}

// slotView is a place for a station.
type slotView struct {
	N       int
	ID, Why string
	Spare   bool // nothing is proposed for it
	Dropped bool
	Rows    []rowView
	Known   []plateView // answered
	Asked   []plateView // what is asked next
	Buys    string
	Places  []placeView
}

// placeView is a station that a value may be given to.
type placeView struct {
	N    int
	Name string
}

type plateView struct{ Field, Label, Example, Value string }

// rowView is a value with what it is taken for.
type rowView struct {
	Series                     int
	Slot                       int // -1: none
	Topic, Name, Payload       string
	Rate, Range, Guess, Why    string
	Taken                      string // why it is taken for the channel
	Channel, Unit, Scale, Span string
	Raw                        bool // the number of a current loop
	Lines                      []string
}

// firstRunPage puts what was heard in words, with the form as it was sent.
func (s *site) firstRunPage(r *http.Request, e *edits) firstRunView {
	h := s.FirstRun.State()
	v := firstRunView{Version: s.Version, Mark: s.mark(readerOf(r)), None: s.unconfigured(), ListenAt: h.ListenAt, Running: h.Running, Some: len(h.Series) > 0, Trouble: h.Trouble,
		LeftOut: h.LeftOut, Unread: h.Unread, Site: e.field("site", h.Site), Channels: h.Channels, Units: h.Units}
	if h.Messages > 0 {
		v.Summary = fmt.Sprintf("%s on %s in %s, %s in them, %s proposed", plural(int(h.Messages), "message"), plural(int(h.Topics), "topic"), span(int64(h.Seconds*1e9)), plural(len(h.Series), "value"), plural(len(h.Stations), "station"))
	}
	v.Slots = slotsOf(&h, e)
	taken := make(map[int]bool)
	for i := range v.Slots {
		for _, row := range v.Slots[i].Rows {
			taken[row.Series] = true
		}
	}
	for i := range h.Series {
		switch {
		case taken[i]:
		case len(v.Rest) == mostRows:
			v.More++
		default:
			v.Rest = append(v.Rest, rowOf(&h, i, -1, "", "", e))
		}
	}
	return v
}

// slotsOf returns the stations, as proposed and as the form has changed them.
func slotsOf(h *Heard, e *edits) []slotView {
	slots := make([]slotView, len(h.Stations)+spareSlots)
	type proposed struct {
		slot         int
		channel, why string
	}
	by := make(map[int]proposed)
	for k := range slots {
		slots[k] = slotView{N: k, ID: "station-" + strconv.Itoa(k+1), Spare: k >= len(h.Stations)}
		if k < len(h.Stations) {
			x := &h.Stations[k]
			slots[k].ID, slots[k].Why = x.ID, x.Why
			for _, c := range x.Channels {
				by[c.Series] = proposed{k, c.Channel, fmt.Sprintf("%s at %.0f %%: %s", c.Channel, 100*c.Sure, c.Why)}
			}
		}
		slots[k].ID = e.field("id."+strconv.Itoa(k), slots[k].ID)
		slots[k].Dropped = e.field("drop."+strconv.Itoa(k), "") != ""
	}
	for i := range h.Series {
		p, ok := by[i]
		if !ok {
			p.slot = -1
		}
		slot := p.slot
		if text := e.field("at."+strconv.Itoa(i), strconv.Itoa(slot)); text != "" {
			slot, _ = strconv.Atoi(text)
		}
		if slot >= 0 && slot < len(slots) {
			slots[slot].Rows = append(slots[slot].Rows, rowOf(h, i, slot, p.channel, p.why, e))
		}
	}
	for k := range slots {
		slots[k].ask(h.Steps, e)
		for n := range slots {
			slots[k].Places = append(slots[k].Places, placeView{n, slots[n].ID})
		}
	}
	return slots
}

// ask sets what is known of the plate and what is asked next: the first step that is not answered.
func (v *slotView) ask(steps []PlateStep, e *edits) {
	for _, step := range steps {
		open := false
		var list []plateView
		for _, k := range step.Keys {
			field := "plate." + strconv.Itoa(v.N) + "." + k.Name
			x := plateView{field, k.Label, k.Example, e.field(field, "")}
			open = open || x.Value == ""
			list = append(list, x)
		}
		switch {
		case !open:
			v.Known = append(v.Known, list...)
		case v.Asked == nil:
			v.Asked, v.Buys = list, step.Buys
		default:
			for _, x := range list {
				if x.Value != "" {
					v.Known = append(v.Known, x)
				}
			}
		}
	}
}

func rowOf(h *Heard, i, slot int, channel, why string, e *edits) rowView {
	x, n := &h.Series[i], strconv.Itoa(i)
	v := rowView{Series: i, Slot: slot, Topic: x.Topic, Name: x.Name, Payload: x.Payload, Rate: fourDigits(x.Rate), Range: fourDigits(x.Low) + " to " + fourDigits(x.High),
		Guess: fmt.Sprintf("%s, %.0f %%", x.Guess, 100*x.Sure), Why: x.Why, Taken: why, Lines: traceOf(x.Trace, x.Low, x.High),
		Channel: e.field("channel."+n, channel), Unit: e.field("unit."+n, x.Unit), Scale: e.field("scale."+n, x.Scale), Span: e.field("span."+n, "")}
	v.Raw = (v.Unit == "counts" || v.Unit == "mA") && (v.Channel == "" || strings.HasSuffix(v.Channel, "_pressure"))
	return v
}

// fourDigits words a number with four digits.
func fourDigits(v float64) string { return strconv.FormatFloat(round4(v), 'f', -1, 64) }

func round4(v float64) float64 {
	if v == 0 || !finite(v) {
		return 0
	}
	scale := math.Pow(10, 3-math.Floor(math.Log10(math.Abs(v))))
	if scale > 1e6 {
		scale = 1e6
	}
	return math.Round(v*scale) / scale
}

// traceOf draws a trace: points of polylines, one for each stretch without a gap.
func traceOf(trace []float64, low, high float64) []string {
	if len(trace) < 2 {
		return nil
	}
	reach := high - low
	if reach <= 0 {
		reach = 1
	}
	var all []string
	var points []string
	flush := func() {
		if len(points) > 1 {
			all = append(all, strings.Join(points, " "))
		}
		points = nil
	}
	for i, y := range trace {
		if !finite(y) {
			if longGap(trace, i) {
				flush()
			}
			continue
		}
		points = append(points, fmt.Sprintf("%.0f,%.0f", sparkWidth*float64(i)/float64(len(trace)-1), 1+(sparkHeight-2)*(1-(y-low)/reach)))
	}
	flush()
	return all
}

// longGap reports whether nothing came for a tenth of the trace from i on: shorter ones are the rate's.
func longGap(trace []float64, i int) bool {
	n := 0
	for ; i < len(trace) && !finite(trace[i]); i++ {
		n++
	}
	return n > len(trace)/10
}

// editedView is a value with what it can be given to.
type editedView struct {
	Row      rowView
	Places   []placeView
	Channels []string
	Units    []string
}

// edited returns a value for editing; without a slot the stations are those of the first.
func edited(row rowView, v firstRunView, slot any) editedView {
	out := editedView{Row: row, Channels: v.Channels, Units: v.Units}
	if s, ok := slot.(slotView); ok {
		out.Places = s.Places
	} else if len(v.Slots) > 0 {
		out.Places = v.Slots[0].Places
	}
	return out
}
