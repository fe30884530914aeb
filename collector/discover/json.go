package discover

import (
	"bytes"
	"encoding/json"
	"math"
	"sort"
	"strconv"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
)

// Bounds of a walk through JSON.
const (
	maxDepth = 6
	maxItems = 64 // of a list
)

// clockOf is where the messages of a topic have their time.
type clockOf struct {
	at  string // path; "": nowhere
	far bool   // it was further from the arrival than a clock is taken for right
}

// json reads any JSON.
func (x *extraction) json() {
	x.format, x.problem, x.values = payload.JSON, "", nil
	d := json.NewDecoder(bytes.NewReader(x.message.Payload))
	d.UseNumber()
	var doc any
	if err := d.Decode(&doc); err != nil {
		x.problem = "no JSON that can be read"
		return
	}
	w := walk{x: x}
	w.under("", doc, 0)
	w.date()
	if len(x.values) == 0 {
		x.problem = "no number is in it"
	}
}

// walk goes through a document.
type walk struct {
	x    *extraction
	at   station.Instant // of the message, 0: none found
	path string          // of that time
}

// under reads what lies under a path.
func (w *walk) under(path string, doc any, depth int) {
	if depth > maxDepth {
		return
	}
	switch v := doc.(type) {
	case map[string]any:
		names := make([]string, 0, len(v))
		for k := range v {
			names = append(names, k)
		}
		sort.Strings(names)
		for _, k := range names {
			w.under(path+"/"+escape.Replace(k), v[k], depth+1)
		}
	case []any:
		if w.named(path, v) {
			return
		}
		for i, item := range v {
			if i < maxItems {
				w.under(path+"/"+strconv.Itoa(i), item, depth+1)
			}
		}
	default:
		w.leaf(path, doc)
	}
}

// escape writes a name into a JSON Pointer (RFC 6901, section 3).
var escape = strings.NewReplacer("~", "~0", "/", "~1")

// leaf reads a number or a time.
func (w *walk) leaf(path string, doc any) {
	if t, ok := w.timeIn(doc); ok {
		if w.at == 0 {
			w.at, w.path = t, path
		}
		return
	}
	v := value{name: path}
	switch y := doc.(type) {
	case json.Number:
		f, err := y.Float64()
		if err != nil || math.Abs(f) > 1e15 {
			return
		}
		v.v = f
	case bool:
		if v.word = true; y {
			v.v = 1
		}
	case string:
		f, err := strconv.ParseFloat(strings.TrimSpace(y), 64)
		if err != nil || math.IsNaN(f) || math.Abs(f) > 1e15 {
			return
		}
		v.v = f
	default:
		return
	}
	v.channel, v.named = station.ParseChannel(path[strings.LastIndexByte(path, '/')+1:])
	w.x.add(v)
}

// nearTime is how far from its arrival a number may be to be taken for a time, ns. A pressure or a count
// that happens to be so is 1 in 10,000.
const nearTime = 7 * 24 * 60 * station.Minute60

// timeIn returns what a member says as a time: a number of s, ms, us or ns since 1970, or a text of RFC 3339,
// within a week of the arrival.
func (w *walk) timeIn(doc any) (station.Instant, bool) {
	near := func(t station.Instant) bool {
		d := t.Sub(w.x.message.At)
		return d < nearTime && d > -nearTime
	}
	switch v := doc.(type) {
	case json.Number:
		f, err := v.Float64()
		if err != nil {
			return 0, false
		}
		for _, per := range [...]float64{1, 1e3, 1e6, 1e9} {
			if t, ok := station.InstantOfSeconds(f / per); ok && near(t) {
				return t, true
			}
		}
	case string:
		if t, err := time.Parse(time.RFC3339, v); err == nil {
			i := station.InstantOf(t)
			return i, near(i)
		}
	}
	return 0, false
}

// rightClock is how far a device's clock may be off: what is further ahead is refused later.
const rightClock = 5 * station.Minute60

// date sets the time of values to the one that was found beside them.
func (w *walk) date() {
	if w.at == 0 {
		return
	}
	t := w.x.topic
	t.time.at = w.path
	if d := w.at.Sub(w.x.message.At); d > rightClock || d < -rightClock {
		t.time.far = true
	}
	for i := range w.x.values {
		if w.x.values[i].at == 0 {
			w.x.values[i].at = w.at
		}
	}
}

// dated returns values with the time of a point of line protocol.
func (w *walk) dated(doc any) {
	if t, ok := w.timeIn(doc); ok {
		for i := range w.x.values {
			if w.x.values[i].at == 0 {
				w.x.values[i].at = t
			}
		}
	}
}

// named reads a list of objects that each hold one number beside a text, its name, and reports whether the
// list was one.
func (w *walk) named(path string, list []any) bool {
	if len(list) == 0 || len(list) > maxValues {
		return false
	}
	s := shape{each: path, listed: true}
	var found []value
	for _, item := range list {
		o, ok := item.(map[string]any)
		if !ok {
			return false
		}
		v, name, number := w.pairOf(o)
		if name == "" || number == "" || s.name != "" && (s.name != name || s.value != number) {
			return false
		}
		s.name, s.value = name, number
		found = append(found, v)
	}
	w.x.topic.shape = s
	for _, v := range found {
		w.x.add(v)
	}
	return true
}

// pairOf returns the one number of an object with the text that names it, and the paths of both; "" where
// there is not just one of each.
func (w *walk) pairOf(o map[string]any) (v value, name, number string) {
	for k, m := range o {
		p := "/" + escape.Replace(k)
		if t, ok := w.timeIn(m); ok {
			v.at = t
			if w.path == "" {
				w.at, w.path = t, p
			}
			continue
		}
		switch y := m.(type) {
		case string:
			if name != "" {
				return v, "", ""
			}
			name, v.name = p, y
		case json.Number:
			f, err := y.Float64()
			if number != "" || err != nil {
				return v, "", ""
			}
			number, v.v = p, f
		}
	}
	v.channel, v.named = station.ParseChannel(v.name)
	return v, name, number
}
