package motion

import "math"

// habit is what share of a cycle the first stroke takes: of its time, of the time in which the piston was
// seen to work, and of its draw. It is a mixture of three normal distributions and of anything at all:
// where the piston runs on both strokes take about the same time, where a governor stops it they draw
// about the same, and where the header is lost neither is known. Weights, means (the sides differ) and deviations are learned by expectation and
// maximization over the newest cycles, so which of them holds is the station's own answer. Fields are
// exported for snapshots only.
type habit struct {
	Sums [len(shares{}) + 1]sums // by each share, by none
}

// shares are parts of a cycle before a place in it: of its time, of the time worked, of the draw.
type shares [3]float64

// weights are those of the components.
type weights [len(shares{}) + 1]float64

// sums are the weights of a component, with its first two powers of the share.
type sums struct{ N, X, XX float64 }

const (
	// habitMemory is the cycles that are remembered, habitBegin those that the first guess counts for.
	// Own choices.
	habitMemory, habitBegin = 100, 10
	// halfTime and halfDraw are the deviations at the start: sides of sound boosters differ by 3 to 10 %
	// (common practice, no source). Learning makes up for a third more or less.
	halfTime, halfDraw = 0.05, 0.05
	// evenest is the least deviation: strokes are not dated better. Own choice.
	evenest = 0.01
	// leastAstray is the least weight of no habit. Own choice.
	leastAstray = 0.01
	// mostUneven is how far a mean may be from a half: sides of sound boosters differ by less. Own choice.
	mostUneven = 0.15
)

// first returns a guess.
func first(share, deviation float64) sums {
	n := habitBegin * share
	return sums{n, n * 0.5, n * (0.25 + deviation*deviation)}
}

// begin sets the guess with which learning begins.
func (h *habit) begin() {
	if h.Sums[0].N == 0 {
		h.Sums = [...]sums{first(0.3, halfTime), first(0.3, halfTime), first(0.3, halfDraw), first(0.1, 1)}
	}
}

// all returns the weight of all components.
func (h *habit) all() (n float64) {
	for i := range h.Sums {
		n += h.Sums[i].N
	}
	return n
}

// density returns the weights of the components at a place.
func (h *habit) density(x shares) (p weights) {
	all := h.all()
	for i, v := range x {
		p[i] = h.Sums[i].N / all * h.Sums[i].normal(v)
	}
	p[len(x)] = max(leastAstray, h.Sums[len(x)].N/all)
	return p
}

// sum returns the sum of the weights.
func (p *weights) sum() (n float64) {
	for _, w := range p {
		n += w
	}
	return n
}

// normal returns the density of a share.
func (s *sums) normal(share float64) float64 {
	mean := s.X / s.N
	sd := math.Sqrt(max(evenest*evenest, s.XX/s.N-mean*mean))
	mean = 0.5 + min(max(mean-0.5, -mostUneven), mostUneven)
	z := (share - mean) / sd
	if !(math.Abs(z) < 6) { // also where nothing was drawn
		return 0
	}
	return math.Exp(-z*z/2) / sd / math.Sqrt(2*math.Pi)
}

// take adds a place whose components have weights p, with a weight of its own.
func (h *habit) take(weight float64, p weights, x shares) {
	sum := p.sum()
	h.Sums[len(x)].N += weight * p[len(x)] / sum
	for i, v := range x {
		if w := weight * p[i] / sum; w > 0 {
			s := &h.Sums[i]
			s.N, s.X, s.XX = s.N+w, s.X+w*v, s.XX+w*v*v
		}
	}
}

// forget lets what is older than the memory fade.
func (h *habit) forget() {
	all := h.all()
	if all <= habitMemory {
		return
	}
	for i := range h.Sums {
		s, k := &h.Sums[i], habitMemory/all
		s.N, s.X, s.XX = k*s.N, k*s.X, k*s.XX
	}
}

// judge sets likely to how likely a stroke ended at places of a cycle, of all of them 1.
func (h *habit) judge(among []place, whole *place, likely []float64) {
	most, sum := math.Inf(-1), 0.0
	for i := range among {
		w := h.density(among[i].shares(whole))
		likely[i] = float64(among[i].Looks) + math.Log(w.sum())
		most = max(most, likely[i])
	}
	for i, v := range likely {
		likely[i] = math.Exp(v - most)
		sum += likely[i]
	}
	for i := range likely {
		likely[i] /= sum
	}
}

// learn learns from all places of a cycle, each weighed by how likely it is.
func (h *habit) learn(among []place, whole *place, likely []float64) {
	was := *h
	for i := range among {
		if x := among[i].shares(whole); likely[i] > 0 {
			h.take(likely[i], was.density(x), x)
		}
	}
	h.forget()
}
