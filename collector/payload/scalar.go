package payload

import (
	"math"
	"strconv"
	"strings"

	"strokewise/analyzer/station"
)

// decodeScalar reads a plain number, or true and false, of the topic's channel.
func decodeScalar(data []byte, c *Context, dst []station.Block) ([]station.Block, *Refusal) {
	if !c.HasChannel {
		return dst, refuse(NoChannel, "a plain number needs a topic that names the channel")
	}
	text := strings.TrimSpace(string(data[:min(len(data), 64)]))
	v, err := strconv.ParseFloat(text, 64)
	switch {
	case text == "true":
		v = 1
	case text == "false":
		v = 0
	case err != nil && !math.IsInf(v, 0), len(data) > 64, strings.ContainsAny(text, "xX_"):
		return dst, refuse(NotANumber, "expected a plain decimal number such as 612.4")
	case !finite(v):
		return dst, refuse(NotFinite, "the value is not finite, or beyond 1e15")
	}
	v = c.Channel.SI(v, c.pressureUnit())
	return append(dst, station.Block{Channel: c.Channel, Stamp: station.StampArrival, Start: c.Arrival.Floor(station.Microsecond), Values: []float64{v}}), nil
}
