package rig

import "strokewise/collector/rig/model"

// Present returns the parameters of the physics at the present moment, with what faults have made
// of them.
func (s *Station) Present() model.Params { return s.model.Params }
