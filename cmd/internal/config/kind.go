package config

import "strokewise/analyzer/station"

// governor reads whether there is a governor. Without one there is no set pressure.
func (m *mapping) governor(p *station.Plate) {
	i, ok := m.choice("governor", "fitted", "none")
	if !ok || i == 0 {
		return
	}
	if p.Ungoverned = true; p.Set > 0 {
		m.fail("governor", "is none, and set_pressure"+atLine(m, "set_pressure")+" is given", "one of the two: without a governor the outlet stands where the forces balance", "")
	}
}
