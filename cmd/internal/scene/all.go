package scene

import "slices"

// All returns every scene, in the order of the table.
func All() []Scene {
	return slices.Concat(atWorkScenes(), outletScenes(), highScenes(), chargedScenes(), supplyScenes(), leakScenes())
}

// Play plays a scene.
func (s *Scene) Play() *Outcome { return s.Course.play() }
