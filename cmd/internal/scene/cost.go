package scene

import (
	"strokewise/cmd/internal/config"
	"strokewise/collector/rig"
	"strokewise/rules"
)

// priced is a configuration whose site has a price: the plate of doubling.
const priced = `
sites:
  - { id: northdock, zone: UTC, air: { specific_energy: 0.12 kWh/m3, price: 0.18 EUR/kWh } }
stations:
  - id: press-4
    site: northdock
    booster: { drive_bore: 80 mm, boost_bore: 80 mm, rod: 20 mm, stroke: 70 mm, set_pressure: 1000 kPa, rod_through_drive: true }
    tank: { volume: 30 L, relief_pressure: 1250 kPa }
`

// costScenes are those of what air costs.
func costScenes() []Scene {
	cfg, err := config.Parse([]byte(priced), "priced.yaml", config.Options{NoBroker: true})
	if err != nil {
		panic("BUG: the configuration of a scene: " + err.Error())
	}
	plate := func(s *rig.Spec) { s.Plate = cfg.Stations[0].Plate }
	return []Scene{{Name: "leak with a price", Event: "a leak while nobody draws, at a site with a price of air",
		From: event, Course: Course{Station: doubling(plate, idle, fault(rig.OutletLeak, event)), Length: event + 900},
		Due: []Due{{Alarm: rules.OutletLeak, Priority: rules.Medium, Within: 600, Says: []string{"a year"}}}}}
}
