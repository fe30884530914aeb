package signal

// Cusum is the outcome of a tabular cumulative-sum chart.
type Cusum struct {
	High, Low []float64 // sums of what is above and below the target, after each value
	At        int       // index of the first value at which one is above the limit, -1: none is
	Since     int       // index of the first value of that sum's run: about when it began
	Up        bool      // it is the upper one
}

// CusumOf answers whether x left its target,
//
//	High_i = max(0, x_i - target - slack + High_{i-1})
//	Low_i  = max(0, target - slack - x_i + Low_{i-1})
//
// all in the unit of x, and calls it where one is above limit (Montgomery; checked on his
// examples). With slack half a standard deviation and limit five of them, a shift by one is
// called after some ten values, and without a shift one of some 465 (from memory), as long
// as the values are independent and the target is exact.
func CusumOf(x []float64, target, slack, limit float64) Cusum {
	c := Cusum{High: make([]float64, len(x)), Low: make([]float64, len(x)), At: -1}
	var high, low float64
	from := [2]int{}
	for i, v := range x {
		if high == 0 {
			from[0] = i
		}
		if low == 0 {
			from[1] = i
		}
		high, low = max(0, v-target-slack+high), max(0, target-slack-v+low)
		c.High[i], c.Low[i] = high, low
		if c.At >= 0 {
			continue
		}
		switch {
		case high > limit:
			c.At, c.Since, c.Up = i, from[0], true
		case low > limit:
			c.At, c.Since = i, from[1]
		}
	}
	return c
}
