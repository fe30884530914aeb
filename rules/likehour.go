package rules

import "math"

// likeDepth is how many like days an hour is compared with: three weeks of working days. Own choice; with half of them the
// limit lies a seventh further above the mean (Student's t).
const likeDepth = 15

// leastSpread is the least standard deviation of sqrt(strokes + 3/8) that an hour is taken to have: that of strokes which
// come independently of each other (Poisson: Anscombe, Biometrika 35, 1948), counted for leastFed only. Consumers that
// group strokes vary more, and the days show it; a machine's even beat varies less.
var leastSpread = 0.5 / math.Sqrt(float64(leastFed)/float64(hourNs))

// likeHour is one hour of the day on like days: strokes in an hour, the newest ones. Fields are exported for snapshots only.
type likeHour struct {
	N     int // days, likeDepth at most
	Next  int // where the next one goes
	Rates [likeDepth]int32
}

// learn adds a day. The oldest one goes.
func (h *likeHour) learn(rate int32) {
	h.Rates[h.Next] = rate
	h.Next, h.N = (h.Next+1)%likeDepth, min(h.N+1, likeDepth)
}

// each calls f with the days, oldest first.
func (h *likeHour) each(f func(rate int32)) {
	for i := range h.N {
		f(h.Rates[(h.Next-h.N+i+likeDepth)%likeDepth])
	}
}

// limit returns the mean of the days and what the next day's hour exceeds by chance once in a station's year, strokes in an
// hour: the upper end of Student's prediction interval for one more observation,
//
//	y = sqrt(strokes + 3/8), limit: mean(y) + t(n-1) s sqrt(1 + 1/n)
//
// Days are taken to be alike, independent of each other and, as y, normal. An odd day among them widens s, so that less is
// told, not more. False below two days.
func (h *likeHour) limit() (mean, limit float64, ok bool) {
	if h.N < 2 {
		return 0, 0, false
	}
	n, sum, roots, squares := float64(h.N), 0., 0., 0.
	for _, r := range h.Rates[:h.N] {
		y := float64(r) + 3./8
		sum, roots, squares = sum+float64(r), roots+math.Sqrt(y), squares+y
	}
	m := roots / n
	s := math.Max(leastSpread, math.Sqrt(math.Max(0, (squares-n*m*m)/(n-1))))
	y := m + hourSpreads[h.N]*s
	return sum / n, y*y - 3./8, true
}
