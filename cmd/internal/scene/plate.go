package scene

import (
	"strokewise/collector/rig"
	"strokewise/rules"
)

// plateScenes are mistakes in plate data at sound stations.
func plateScenes() []Scene {
	found := func(name, what string, says []string, change func(*rig.Spec)) Scene {
		return Scene{Name: name, Event: what, From: 0, Course: Course{Station: doubling(change), Length: 3600},
			Due: []Due{{Alarm: "plate-contradicts", Priority: rules.Finding, Within: 3600, Says: says, Stands: true}}}
	}
	return []Scene{
		found("set given as absolute", "the set pressure in the plate is absolute, and was entered as gauge", []string{"booster.set_pressure", "absolute"},
			func(s *rig.Spec) { s.Plate.Set += 101e3 }),
		found("bore of the wrong cylinder", "the plate has half of the drive piston's bore", []string{"booster.drive_bore"},
			func(s *rig.Spec) {
				g := &s.Geometry
				s.Plate.Bores(g.DriveBore/2, g.BoostBore, g.Rod, g.Stroke, !g.FullFaceDrive, !g.FullFaceBoost)
			}),
	}
}
