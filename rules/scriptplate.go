package rules

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

// scriptCalendar reads `{from: 6h, to: 22h, hold: true}`: a shift on every day, as times since
// midnight (UTC), with 30 minutes of grace.
func (r *reader) scriptCalendar(n *yaml.Node) string {
	var from, to int64
	c := station.Calendar{Zone: "UTC", Grace: 30}
	r.object(n, fields{"from": r.duration(&from), "to": r.duration(&to), "hold": func(n *yaml.Node) {
		c.Hold = r.among(n, []string{"false", "true"}) == 1
	}})
	one := station.Shift{From: int(from / station.Minute60), To: int(to / station.Minute60)}
	for d := range one.Days {
		one.Days[d] = true
	}
	c.Shifts = []station.Shift{one}
	return c.Text()
}

// scriptService reads what comes due, a list of entries with the keys that plates use.
func (r *reader) scriptService(n *yaml.Node) string {
	var any []map[string]any
	var list []station.Service
	err := n.Decode(&any)
	if err == nil {
		var text []byte
		if text, err = json.Marshal(any); err == nil {
			err = json.Unmarshal(text, &list)
		}
	}
	if err == nil && slices.ContainsFunc(list, func(s station.Service) bool { return s.What == station.NoService }) {
		err = fmt.Errorf("what is none of %s", strings.Join(ServiceKinds(), ", "))
	}
	if err != nil {
		r.fault(n.Line, n.Column, "what comes due cannot be read: %v", err)
	}
	return station.ServiceText(list)
}
