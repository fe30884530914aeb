package model

import "math"

// Geometry is the cylinder of a double-acting booster: two pistons on one rod, two drive
// and two boost chambers, alike on both sides but for DeadMore.
type Geometry struct {
	DriveBore, BoostBore float64    // m
	Rod                  float64    // m, 0 without
	Stroke               float64    // m
	FullFaceDrive        bool       // the rod does not pass the drive chambers
	FullFaceBoost        bool       // the rod does not pass the boost chambers
	DeadDrive            float64    // dead volume of a drive chamber with its ports over the swept one, 1
	DeadBoost            float64    // the same of a boost chamber, 1
	DeadMore             [2]float64 // share by which the dead volumes of side a, b differ from those, 0: not
}

// DriveArea returns m²: A = pi/4 (D² - d²), without d where the rod does not pass.
func (g Geometry) DriveArea() float64 { return face(g.DriveBore, g.Rod, g.FullFaceDrive) }

// BoostArea returns m², as DriveArea.
func (g Geometry) BoostArea() float64 { return face(g.BoostBore, g.Rod, g.FullFaceBoost) }

// Ratio returns the pressure ratio in gauge that the piston reaches without friction:
// 1 + A_d/A_b, 2 for equal areas.
func (g Geometry) Ratio() float64 { return 1 + g.DriveArea()/g.BoostArea() }

func face(bore, rod float64, full bool) float64 {
	if full {
		rod = 0
	}
	return math.Pi / 4 * (bore*bore - rod*rod)
}

// Doubling is a 2:1 cylinder of 80 mm bore, 20 mm rod and 70 mm stroke.
func Doubling() Geometry {
	return Geometry{DriveBore: 0.08, BoostBore: 0.08, Rod: 0.02, Stroke: 0.07, DeadDrive: 0.082, DeadBoost: 0.056}
}

// Quadrupling is a 4:1 cylinder: three times the drive area of its boost pistons.
func Quadrupling() Geometry {
	return Geometry{DriveBore: 0.1, BoostBore: 0.1 / math.Sqrt(3), Stroke: 0.07,
		FullFaceDrive: true, FullFaceBoost: true, DeadDrive: 0.082, DeadBoost: 0.056}
}
