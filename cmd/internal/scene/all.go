package scene

import (
	"slices"

	"strokewise/collector/rig"
)

// All returns every scene, in the order of the table.
func All() []Scene {
	return slices.Concat(atWorkScenes(), outletScenes(), highScenes(), chargedScenes(), supplyScenes(), headerScenes(), leakScenes(), likeDayScenes(), costScenes(), runningScenes(), ordinaryScenes())
}

// Play plays a scene.
func (s *Scene) Play() *Outcome {
	if s.Plant != nil {
		return playPlant(s.Plant)
	}
	return s.Course.play()
}

// Plays reports whether a scene of one station has a kind of fault.
func Plays(k rig.Kind) bool {
	return slices.ContainsFunc(All(), func(s Scene) bool {
		return slices.ContainsFunc(s.Course.Station.Faults, func(f rig.Fault) bool { return f.Kind == k })
	})
}
