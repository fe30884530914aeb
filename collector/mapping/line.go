package mapping

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
)

// Line appends the readings of InfluxDB line protocol to dst. A point is mapped as the JSON object
// {"measurement": "...", "tags": {...}, "fields": {...}, "time": ns}. Where no values are mapped, fields
// that are called like a channel are taken, of the station and the site in the tags of these names. A
// line that cannot be read loses itself only.
func (m *Mapping) Line(data []byte, c *payload.Context, dst []payload.Reading) ([]payload.Reading, *payload.Refusal) {
	how := m.forLines()
	before, lines := len(dst), 0
	var first *payload.Refusal
	d := lineprotocol.NewDecoderWithBytes(data)
	for d.Next() {
		if lines++; lines > payload.MaxSamples {
			return dst[:before], payload.Refuse(payload.TooLong, "more than %d lines in one message; send fewer", payload.MaxSamples)
		}
		doc, err := point(d)
		if err != nil {
			dst = append(dst, payload.Reading{Why: payload.Refuse(payload.BadLine, "cannot read line %d: %s", lines, cause(err))})
			continue
		}
		var r *payload.Refusal
		if dst, r = how.read(doc, c, dst); r != nil && first == nil {
			first = r
		}
	}
	switch {
	case len(dst) > before:
		return dst, nil
	case lines == 0:
		return dst, payload.Refuse(payload.Empty, "the payload holds no line")
	}
	return dst, first
}

// forLines returns the mapping as it is for lines: with the usual places where it says nothing.
func (m *Mapping) forLines() *Mapping {
	how := *m
	if how.Time.At == nil {
		how.Time.At, how.Time.optional = pointerTo("time"), true
		if how.Time.Unit == BySize {
			how.Time.Unit = Nanos // the precision where nothing is said
		}
	}
	if how.Site == (Source{}) {
		how.Site.At = pointerTo("tags", "site")
	}
	if how.Station == (Source{}) {
		how.Station.At = pointerTo("tags", "station")
	}
	mapped := how.Value != nil
	for i := range how.Values {
		mapped = mapped || how.Values[i].At != nil
	}
	if !mapped {
		scales := m.Scales()
		how.Values = nil
		for ch := station.Channel(0); ch < station.NumChannels; ch++ {
			v := Value{At: pointerTo("fields", ch.String()), Channel: ch, HasChannel: true}
			if scales != nil {
				v.Scale = scales[ch]
			}
			how.Values = append(how.Values, v)
		}
	}
	return &how
}

// pointerTo returns the pointer to nested members.
func pointerTo(parts ...string) *Pointer {
	return &Pointer{text: "/" + strings.Join(parts, "/"), parts: parts}
}

// point reads the point that the decoder is at. A point may be without time.
func point(d *lineprotocol.Decoder) (map[string]any, error) {
	name, err := d.Measurement()
	if err != nil {
		return nil, err
	}
	tags, fields := map[string]any{}, map[string]any{}
	doc := map[string]any{"measurement": string(name), "tags": tags, "fields": fields}
	for {
		key, value, err := d.NextTag()
		if err != nil {
			return nil, err
		}
		if key == nil {
			break
		}
		tags[string(key)] = string(value)
	}
	for {
		key, value, err := d.NextField()
		if err != nil {
			return nil, err
		}
		if key == nil {
			break
		}
		fields[string(key)] = fieldOf(value)
	}
	b, err := d.TimeBytes()
	if err != nil {
		return nil, err
	}
	if len(b) > 0 {
		doc["time"] = json.Number(b)
	}
	return doc, nil
}

// fieldOf returns the value of a field as JSON has it.
func fieldOf(v lineprotocol.Value) any {
	switch v.Kind() {
	case lineprotocol.Float:
		return json.Number(strconv.FormatFloat(v.FloatV(), 'g', -1, 64))
	case lineprotocol.Int:
		return json.Number(strconv.FormatInt(v.IntV(), 10))
	case lineprotocol.Uint:
		return json.Number(strconv.FormatUint(v.UintV(), 10))
	case lineprotocol.Bool:
		return v.BoolV()
	}
	return v.StringV()
}

// cause returns the words of a decoder's error.
func cause(err error) string { return fmt.Sprintf("%.200s", err) }

// Points returns the first points of line protocol, each as the object that a mapping sees. It fails where
// not even the first line can be read.
func Points(data []byte, most int) ([]map[string]any, error) {
	var out []map[string]any
	d := lineprotocol.NewDecoderWithBytes(data)
	for len(out) < most && d.Next() {
		doc, err := point(d)
		switch {
		case err == nil:
			out = append(out, doc)
		case len(out) == 0:
			return nil, fmt.Errorf("cannot read the first line: %s", cause(err))
		}
	}
	return out, nil
}
