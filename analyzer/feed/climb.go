package feed

// overTurn is how many deviations of a frame's mean a rise must exceed to count, by its excess alone: of
// many frames the lowest and the highest are as far apart by noise.
const overTurn = 5.6

// Climb adds up by how much the outlet rises, from each lowest point to the next highest one. What noise
// may add to each is left out, so the sum is a lower bound. Fields are exported for snapshots
// only.
type Climb struct {
	Low, High float64 // since the last turn, Pa gauge
	Sum       float64 // of rises, Pa, ever
	Counted   float64 // of the present rise, in Sum
}

// take adds a frame's mean, Pa gauge. least is the smallest rise that counts, Pa. While the piston
// stands nothing counts: a tank that warms rises too.
func (c *Climb) take(x, least float64, works bool) {
	switch {
	case !works || c.High == 0 || x < c.High-least: // a new beginning, or a turn
		c.Low, c.High, c.Counted = x, x, 0
	case x < c.Low && c.Counted == 0:
		c.Low, c.High = x, x
	case x > c.High:
		c.High = x
		if rise := c.High - c.Low - least; rise > c.Counted {
			c.Sum += rise - c.Counted
			c.Counted = rise
		}
	}
}
