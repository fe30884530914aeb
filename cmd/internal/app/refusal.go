package app

import (
	"math"
	"sync"
	"time"

	"strokewise/cmd/internal/health"
	"strokewise/collector/intake"
	"strokewise/collector/payload"
)

// The share of messages that are refused. Own choices, no source.
const (
	refusalWindow = 5 * time.Minute
	refusalLeast  = 10   // messages of a window that tell anything
	refusalDoubt  = 0.05 // of the usual messages: a sensor or two of a plant
	refusalFails  = 0.1  // with nothing accepted: what stands out from a stray sender beside a plant that is shut
	usualFor      = 24   // h
)

// refusal follows the share of messages that are refused, over a window. It is a share of what usually
// comes in such a window where that is more than what came in this one: at night, when the sensors of
// a plant are off, one stray sender is not all of the plant.
type refusal struct {
	mu     sync.Mutex
	points []counted       // of the window, oldest first
	usual  map[int64]int64 // by hour: most messages accepted in a window that ended in it
	share  float64
	came   int64 // messages in the window
	none   bool  // of them were accepted
}

// counted is how many messages had been accepted and refused at a time.
type counted struct {
	at                time.Time
	accepted, refused int64
}

// step notes the counts since the start of the program.
func (r *refusal) step(c counted) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.points = append(r.points, c)
	for len(r.points) > 2 && c.at.Sub(r.points[1].at) >= refusalWindow {
		r.points = r.points[1:]
	}
	first := r.points[0]
	accepted, refused := max(0, c.accepted-first.accepted), max(0, c.refused-first.refused)
	r.came, r.none = accepted+refused, accepted == 0
	r.share = float64(refused) / float64(max(1, r.came, r.most(c.at, accepted)))
}

// most returns the most messages that were accepted in a window of the last day, this one included.
func (r *refusal) most(at time.Time, accepted int64) int64 {
	if r.usual == nil {
		r.usual = make(map[int64]int64)
	}
	hour := at.Unix() / 3600
	r.usual[hour] = max(r.usual[hour], accepted)
	var most int64
	for h, n := range r.usual {
		if hour-h > usualFor {
			delete(r.usual, h)
		}
		most = max(most, n)
	}
	return most
}

// ratio returns the share that is refused, NaN while too few messages come to tell.
func (r *refusal) ratio() float64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.came < refusalLeast {
		return math.NaN()
	}
	return r.share
}

// report reports what the share means.
func (r *refusal) report(p *health.Part) {
	share := r.ratio()
	r.mu.Lock()
	came, none := r.came, r.none
	r.mu.Unlock()
	switch {
	case none && share >= refusalFails:
		p.Fails("all %d messages of the last %s were refused", came, refusalWindow)
	case share > refusalDoubt:
		p.Doubtful("%.0f %% of the usual messages were refused in the last %s", 100*share, refusalWindow)
	default:
		p.Works()
	}
}

// byDesign are the reasons for which values without a time of their own are refused whenever a broker
// hands on what it kept: they say nothing of the sender.
var byDesign = [...]payload.Reason{intake.RetainedScalar, intake.StaleBacklog}

// lookAtRefused follows the share of messages that are refused.
func (a *App) lookAtRefused(now time.Time) {
	by := a.intake.Refused()
	f := a.received()
	all := int64(0)
	for _, n := range by {
		all += n
	}
	c := counted{at: now, accepted: max(0, f.Received+f.TooLarge-all), refused: all}
	for _, reason := range byDesign {
		c.refused -= by[string(reason)]
	}
	a.refusal.step(c)
	a.refusal.report(a.health.Part("refused", 0))
}
