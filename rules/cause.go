package rules

import (
	"strings"

	"strokewise/analyzer/station"
)

// Causes returns the names of the causes that "close" needs.
func Causes() []string {
	var names []string
	for c := station.NoCause + 1; c < station.NumCauses; c++ {
		names = append(names, c.String())
	}
	return names
}

// closing refuses a closing without a cause.
func closing(c *station.Command) error {
	if c.Cause != station.NoCause && c.Cause < station.NumCauses {
		return nil
	}
	names := Causes()
	last := len(names) - 1
	return refusal("cause is missing: give %s or %s", strings.Join(names[:last], ", "), names[last])
}
