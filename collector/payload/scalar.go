package payload

import (
	"math"
	"strconv"
	"strings"

	"strokewise/analyzer/station"
)

// decodeScalar reads a plain number of the topic's channel, or a word for open and closed.
func decodeScalar(data []byte, c *Context, dst []station.Block) ([]station.Block, *Refusal) {
	if !c.HasChannel {
		return dst, refuse(NoChannel, "a plain number needs a topic that names the channel")
	}
	v, ok := lone(data)
	if !ok {
		if len(data) > maxNumber {
			return dst, refuse(NotANumber, "expected a plain decimal number such as 612.4; the text has %d bytes", len(data))
		}
		var r *Refusal
		if v, r = c.Number(c.Channel, string(data)); r != nil {
			return dst, r
		}
	}
	if s := c.scale(c.Channel); s != nil {
		var r *Refusal
		if v, r = s.si(c.Channel, v, "", c.pressureUnit()); r != nil {
			return dst, r
		}
	} else {
		v = c.Channel.SI(v, c.pressureUnit())
	}
	return append(dst, station.Block{Channel: c.Channel, Stamp: station.StampArrival, Start: c.Arrival.Floor(station.Microsecond), Values: []float64{v}}), nil
}

// lone reads a number by JSON's grammar with nothing but space around it, as nearly all are.
func lone(data []byte) (float64, bool) {
	s := scanner{data: data}
	v, ok := s.number()
	s.space()
	return v, ok && s.end() && finite(v)
}

// maxNumber is the longest text that is read as a number, bytes.
const maxNumber = 64

// states are the words for the state of the supply valve, in small letters.
var states = map[string]float64{"true": 1, "false": 0, "on": 1, "off": 0, "open": 1, "closed": 0}

// Number reads the text of a number, or of a state where the channel is one.
func (c *Context) Number(ch station.Channel, text string) (float64, *Refusal) {
	text = strings.TrimSpace(text)
	if text == "" {
		return 0, refuse(Empty, "the value is empty; expected a number such as 612.4")
	}
	if c.Comma && strings.Count(text, ",") == 1 && !strings.Contains(text, ".") {
		text = strings.Replace(text, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(text, 64)
	switch {
	case err != nil && ch == station.SupplyOpen:
		if state, ok := states[strings.ToLower(text)]; ok {
			return state, nil
		}
		return 0, refuse(NotANumber, "%.40q is neither 0 nor 1, nor one of on, off, open, closed, true, false", text)
	case err != nil && !math.IsInf(v, 0) && !c.Comma && strings.Count(text, ",") == 1:
		return 0, refuse(NotANumber, "%.40q is no plain decimal number such as 612.4; if its comma is a decimal comma, say so with decimal: comma", text)
	case err != nil && !math.IsInf(v, 0), len(text) > maxNumber, strings.ContainsAny(text, "xX_"):
		return 0, refuse(NotANumber, "%.40q is no plain decimal number such as 612.4", text)
	case !finite(v):
		return 0, refuse(NotFinite, "the value is not finite, or beyond 1e15")
	}
	return v, nil
}
