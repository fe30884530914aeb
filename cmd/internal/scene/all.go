package scene

import "slices"

// All returns every scene, in the order of the table.
func All() []Scene {
	return slices.Concat(atWorkScenes(), outletScenes(), highScenes(), chargedScenes(), supplyScenes(), leakScenes(), costScenes(), runningScenes(), ordinaryScenes())
}

// Play plays a scene.
func (s *Scene) Play() *Outcome {
	if s.Plant != nil {
		return playPlant(s.Plant)
	}
	return s.Course.play()
}
