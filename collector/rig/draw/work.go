package draw

import (
	"math"

	"strokewise/collector/rig/model"
)

// consumption is a kind of consumer, as it is drawn.
type consumption uint8

const (
	changing consumption = iota
	jets
	bursts
	cylinders
)

// mean returns the mean flow of a consumer over the most that it draws, by model.Consumer.
func mean(c *model.Consumer) float64 {
	switch c.Kind {
	case model.Steps:
		return 0.5
	case model.Jet:
		return c.On / c.Every
	case model.Burst:
		return 0.4 * c.On / c.Every
	case model.Actuate:
		return 0.9 * c.On / c.Every
	}
	return 1
}

// consumer draws a consumer that takes flow m³/s ANR in the mean, and no more than store m³ ANR
// beyond what is delivered meanwhile.
func (d *drawer) consumer(k consumption, flow, store float64) model.Consumer {
	r := d.Rand
	c := model.Consumer{Seed: r.Uint64(), Every: rhythm.log(r), On: jetOn.log(r)}
	switch k {
	case changing:
		c.Kind, c.Every = model.Steps, stepEvery.log(r)
		c.On = c.Every
	case jets:
		c.Kind = model.Jet
	case bursts:
		c.Kind, c.On = model.Burst, burstFor.even(r)
	case cylinders:
		c.Kind, c.On = model.Actuate, actuateOn.even(r)
	}
	most := min(peak.hi*d.can.flow, refilled*d.can.flow+store/c.On)
	c.Every = max(c.Every, 2.5*c.On)
	switch k {
	case changing:
	case bursts:
		c.Every = max(c.On+1, min(c.Every, most*0.4*c.On/flow))
	default: // the rhythm follows from mean and peak
		c.Every = max(2.5*c.On, mean(&c)*c.Every*min(most, peak.even(r)*d.can.flow)/flow)
	}
	c.Flow = min(most, flow/mean(&c))
	return c
}

// consumers draws what the branch takes: up to three consumers that share the load, and their
// pauses. One draw takes no more than its share of what the tank holds above the regulator's
// setting, or the branch would be empty each time.
func (d *drawer) consumers() {
	r, p := d.Rand, &d.Spec.Params
	total := d.load.even(r) * d.can.flow
	if d.steady > 0 {
		p.Demand.Consumers = append(p.Demand.Consumers, model.Consumer{Kind: model.Steady, Flow: d.steady * total})
	}
	above := triedAt*p.Governor.SetGauge - p.Regulator.SetGauge - p.Regulator.Drop
	n, first := 1+r.IntN(3), r.IntN(len(d.kinds))
	store := p.Tank.Volume * max(0, above) / 100e3 / float64(n)
	for i := 0; i < n && d.steady < 1; i++ {
		k, flow := d.kinds[(first+i)%len(d.kinds)], (1-d.steady)*total/float64(n)
		p.Demand.Consumers = append(p.Demand.Consumers, d.consumer(k, flow, store))
	}
	if d.pause.hi > 0 {
		p.Demand.Work, p.Demand.Pause = d.work.even(r), d.pause.even(r)
	}
}

// afterPause returns the end of the first whole pause that begins at or after a time, s.
func (d *drawer) afterPause(from float64) float64 {
	m := &d.Spec.Params.Demand
	period := m.Work + m.Pause
	n := math.Ceil((from - m.Work) / period)
	return max(0, n)*period + period
}

// taken returns the mean flow of all consumers while they work, m³/s ANR.
func taken(m *model.Demand) (flow float64) {
	for i := range m.Consumers {
		flow += m.Consumers[i].Flow * mean(&m.Consumers[i])
	}
	return flow
}
