package stroke

import "strokewise/analyzer/station"

// Gulp judges teeth by the draw between them: a full stroke always draws about the same
// area (see Tooth). Fields are exported for snapshots only.
type Gulp struct {
	Ring [16]float64
	N    int
	Pos  int
	Full float64 // usual area of a stroke, s sqrt(Pa)
	Last station.Instant
	Part float64 // area of teeth that were no stroke's end
}

// Strokes gives how many strokes ended since the last judged tooth: one, unless the area
// says that the tooth is a wrinkle inside a stroke (none) or that strokes ended unseen
// (more). usual is the usual stroke interval, ns, 0 if unknown.
func (g *Gulp) Strokes(f *Found, usual int64) int {
	area := g.Part + f.Area
	gap := f.At.Sub(g.Last)
	n := 1
	if g.Full > 0 {
		n = int(area/g.Full + 0.5)
	}
	if n == 0 {
		g.Part = area
		return 0
	}
	g.Part = 0
	if area > 0 && g.Last != 0 && f.Idle == 0 && (usual == 0 || gap < 2*usual) && n == 1 {
		g.learn(area)
	}
	g.Last = f.At
	return min(n, 4)
}

// learn keeps the median area of undisturbed strokes.
func (g *Gulp) learn(area float64) {
	g.Ring[g.Pos] = area
	g.Pos = (g.Pos + 1) % len(g.Ring)
	if g.N < len(g.Ring) {
		g.N++
	}
	if g.N < 5 {
		return
	}
	s := g.Ring
	for i := 1; i < g.N; i++ {
		for j := i; j > 0 && s[j] < s[j-1]; j-- {
			s[j], s[j-1] = s[j-1], s[j]
		}
	}
	g.Full = s[g.N/2]
}
