package rules

import (
	"fmt"

	"strokewise/analyzer/station"
)

// Command carries out what a person ordered at an instant of arrival time. An error says
// why nothing changed.
func (v *Evaluator) Command(c *station.Command, at station.Instant) error {
	switch c.Kind {
	case "acknowledge":
		if !v.Acknowledge(c.Alarm, at) {
			return fmt.Errorf("the alarm %s does not wait for an acknowledgement", c.Alarm)
		}
	case "note", "close": // words that change nothing
	default:
		return fmt.Errorf("this program does not carry out %q", c.Kind)
	}
	return nil
}
