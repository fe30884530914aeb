package sparkplug

import (
	"math"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	pb "strokewise/collector/sparkplug/sparkplugpb"
)

// Types of data (6.4.16) whose numbers need more than their field.
const (
	int8Type   = 1
	int16Type  = 2
	int32Type  = 3
	int64Type  = 4
	uint64Type = 8
)

// What a property "Quality" may say (6.4.17): 0 bad, 192 good, 500 stale.
const (
	qualityKey  = "Quality"
	qualityGood = 192
	unitKey     = "engUnit"
)

// number returns the value of a metric that is a number.
func number(m *pb.Metric, datatype uint32, ch station.Channel, c *payload.Context) (float64, *payload.Refusal) {
	switch v := m.Value.(type) {
	case *pb.Metric_IntValue:
		return signed32(v.IntValue, datatype), nil
	case *pb.Metric_LongValue:
		if datatype == int64Type {
			return float64(int64(v.LongValue)), nil
		}
		if datatype < uint64Type && datatype != 0 && v.LongValue > math.MaxUint32 { // a 32-bit integer, extended
			return float64(int64(v.LongValue)), nil
		}
		return float64(v.LongValue), nil
	case *pb.Metric_FloatValue:
		return float64(v.FloatValue), nil
	case *pb.Metric_DoubleValue:
		return v.DoubleValue, nil
	case *pb.Metric_BooleanValue:
		if ch != station.SupplyOpen {
			return 0, payload.Refuse(payload.NotANumber, "the metric is true or false, and %s is a number", ch)
		}
		if v.BooleanValue {
			return 1, nil
		}
		return 0, nil
	case *pb.Metric_StringValue:
		return c.Number(ch, v.StringValue)
	}
	return 0, payload.Refuse(payload.BadSparkplug, "the metric holds no number; its type of data is %d", datatype)
}

// signed32 returns an integer of at most 32 bits; negative ones are in two's complement (6.4.16).
func signed32(v uint32, datatype uint32) float64 {
	switch datatype {
	case int8Type:
		return float64(int8(v))
	case int16Type:
		return float64(int16(v))
	case int32Type:
		return float64(int32(v))
	}
	return float64(v)
}

// properties returns what is known of a metric beside its value: its unit, and whether its sender holds
// it for good.
func properties(m *pb.Metric) (unit string, good bool) {
	good = true
	set := m.GetProperties()
	for i, k := range set.GetKeys() {
		if i >= len(set.GetValues()) {
			break
		}
		v := set.Values[i]
		switch k {
		case unitKey:
			unit = v.GetStringValue()
		case qualityKey:
			if x, ok := v.GetValue().(*pb.PropertyValue_IntValue); ok {
				good = x.IntValue == qualityGood
			}
		}
	}
	return unit, good
}
