package model

import "math"

// Consumer is something behind the regulator that draws air at its own rhythm, as a function of
// time alone. Flows are m³/s ANR at the regulator's setting.
type Consumer struct {
	Kind  ConsumerKind
	Flow  float64 // m³/s ANR, the most that it draws
	Every float64 // s from draw to draw; not of Steady
	On    float64 // s that a draw lasts; not of Steady and Steps
	Seed  uint64
}

// ConsumerKind is how a consumer draws.
type ConsumerKind uint8

// The kinds of consumer.
const (
	Steady  ConsumerKind = iota // Flow all the time
	Steps                       // another share of Flow every Every
	Jet                         // Flow for On, once in each Every, at any time in it
	Burst                       // jets of burstOn every burstEvery for On, once in each Every
	Actuate                     // a cylinder that fills in On, and its other side half of Every later
)

const (
	burstEvery, burstOn = 0.5, 0.2 // s, own choice: a valve that clocks
	rodSide             = 0.8      // of the air that a cylinder's rod side takes, own choice
	unsteady            = 0.04     // of Every by which a cylinder's strokes are late at most
)

// at returns the flow at t s.
func (c *Consumer) at(t float64) float64 {
	if c.Kind == Steady {
		return c.Flow
	}
	n, in := slot(t, c.Every)
	if c.Kind == Steps {
		return c.Flow * chance(c.Seed, n)
	}
	if c.Kind == Actuate {
		half := c.Every / 2
		return c.fill(in-c.late(2*n)) + rodSide*c.fill(in-half-c.late(2*n+1))
	}
	in -= chance(c.Seed, n) * max(0, c.Every-c.On)
	if in < 0 || in >= c.On || c.Kind == Burst && math.Mod(in, burstEvery) >= burstOn {
		return 0
	}
	return c.Flow
}

// late returns by how much the n-th stroke of a cylinder is late, s.
func (c *Consumer) late(n int64) float64 { return unsteady * c.Every * chance(c.Seed, n) }

// fill is the flow into a cylinder t s after its valve has opened: falling in a straight line.
func (c *Consumer) fill(t float64) float64 {
	if t < 0 || t >= c.On {
		return 0
	}
	return c.Flow * (1 - t/c.On)
}
