package rules

import (
	"math"

	"strokewise/analyzer/station"
)

// hourAlpha is how often a single hour may lie above its limit by chance: once in a station's year of hours. The expected
// number of such hours is the sum of their chances, however much hours of a day depend on each other.
const hourAlpha = 1. / station.YearHours

// hourSpreads is by how many standard deviations an hour may lie above the mean of n like days, by n, at hourAlpha: Student's t
// for one more observation, t(n-1) sqrt(1 + 1/n). Whitmore, The American Statistician 40 (1986).
var hourSpreads = func() (all [likeDepth + 1]float64) {
	for n := range all {
		all[n] = studentUpper(hourAlpha, n-1) * math.Sqrt(1+1/float64(max(1, n)))
	}
	return all
}()

// studentUpper returns the value that Student's t with so many degrees of freedom exceeds with chance alpha, by bisection of
// the angle in studentTail; +Inf for no degrees.
func studentUpper(alpha float64, degrees int) float64 {
	if degrees < 1 {
		return math.Inf(1)
	}
	low, high := 0., math.Pi/2
	for range 52 { // bits of a float64
		if mid := (low + high) / 2; studentTail(mid, degrees) > alpha {
			low = mid
		} else {
			high = mid
		}
	}
	return math.Sqrt(float64(degrees)) * math.Tan(low)
}

// studentTail returns the chance that Student's t with nu degrees of freedom exceeds sqrt(nu) tan(theta), (1 - A)/2 with
//
//	A = 2/pi (theta + sin theta (cos theta + 2/3 cos³ theta + ... + 2·4···(nu-3)/(1·3···(nu-2)) cos^(nu-2) theta))   nu odd
//	A = sin theta (1 + 1/2 cos² theta + ... + 1·3···(nu-3)/(2·4···(nu-2)) cos^(nu-2) theta)                        nu even
//
// The odd bracket is theta alone for nu = 1. Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4.
func studentTail(theta float64, nu int) float64 {
	sin, cos := math.Sincos(theta)
	odd := nu % 2
	term, sum := 1., 0.
	if odd == 1 {
		term = cos
	}
	for k := odd; k <= nu-2; k += 2 { // the power of the cosine
		sum += term
		term *= cos * cos * float64(k+1) / float64(k+2)
	}
	if odd == 1 {
		return (1 - 2/math.Pi*(theta+sin*sum)) / 2
	}
	return (1 - sin*sum) / 2
}
