package rules

import (
	"fmt"
	"slices"
	"strings"

	"strokewise/analyzer/station"
)

// alarm takes a transition of a station that waits to be told: a new occurrence waits for
// the hold-off, what follows goes the way of its raise.
func (h *Header) alarm(in *HeaderInput) {
	t := in.Alarm
	o := occurrence{in.Station, t.Alarm, t.Raised}
	raise := t.To == Unacknowledged
	if slices.Contains(signs, t.Alarm) {
		h.sign(in.Station, t)
	}
	w := waiting{Of: o, Seq: t.Seq, Raise: raise, On: t.To.Active(), Over: t.To == Normal, Due: h.Now}
	switch {
	case raise:
		w.Due = h.Now.Add(h.policy.HoldNs)
		if h.standing() {
			h.join()
		}
		if h.covers(in.Station) {
			w.Due = h.Now
		}
	case h.foldedAt(o) >= 0:
		h.fold(&w)
		return
	case !h.waits(o):
		h.judge(Judgement{Seq: t.Seq, Tell: true})
		return
	default:
		w.Due = h.due(o)
	}
	h.Waiting = append(h.Waiting, w)
	if w.Due <= h.Now {
		h.judgeDue()
	}
}

// sign follows an alarm that counts as a sign of a low header.
func (h *Header) sign(id string, t *HeaderTransition) {
	m := h.member(id)
	switch {
	case t.To == Unacknowledged:
		m.Sign, m.SignOf = t.Raised, t.Alarm
	case !t.To.Active() && m.SignOf == t.Alarm:
		m.Sign = 0
	}
}

// covers tells whether the alarm explains what a station says.
func (h *Header) covers(id string) bool {
	return h.explains() && h.member(id).Under
}

// judgeDue judges what has waited long enough. While the header's own alarm waits for its
// hold-off, everything waits with it.
func (h *Header) judgeDue() {
	kept := h.Waiting[:0]
	for _, w := range h.Waiting {
		switch {
		case w.Due > h.Now:
			kept = append(kept, w)
		case h.Met != 0 && h.Try > h.Now:
			w.Due = h.Try
			kept = append(kept, w)
		case h.covers(w.Of.Station):
			h.fold(&w)
		default:
			h.judge(Judgement{Seq: w.Seq, Tell: true})
		}
	}
	h.Waiting = kept
}

// fold keeps a transition from being told.
func (h *Header) fold(w *waiting) {
	h.judge(Judgement{Seq: w.Seq, Why: HeaderLow})
	i := h.foldedAt(w.Of)
	if i < 0 {
		if !w.Raise {
			return
		}
		h.Folded = append(h.Folded, folded{Of: w.Of, Seq: w.Seq})
		i = len(h.Folded) - 1
	}
	h.Folded[i].Active = w.On
	if w.Over {
		h.Folded = slices.Delete(h.Folded, i, i+1)
	}
}

// recovered ends what the alarm explains: what still stands is told now, with the header
// back it has another cause.
func (h *Header) recovered() {
	h.EndedAt = 0
	h.part()
	for i := range h.Folded {
		if f := &h.Folded[i]; f.Active {
			h.judge(Judgement{Seq: f.Seq, Tell: true})
		}
	}
	h.Folded = slices.DeleteFunc(h.Folded, func(f folded) bool { return f.Active })
}

func (h *Header) foldedAt(o occurrence) int {
	return slices.IndexFunc(h.Folded, func(f folded) bool { return f.Of == o })
}

func (h *Header) waits(o occurrence) bool {
	return slices.ContainsFunc(h.Waiting, func(w waiting) bool { return w.Of == o })
}

// due gives when an occurrence is judged.
func (h *Header) due(o occurrence) station.Instant {
	for i := range h.Waiting {
		if h.Waiting[i].Of == o {
			return h.Waiting[i].Due
		}
	}
	return h.Now
}

// transition reports one of the header's own, with what is known of its stations.
func (h *Header) transition(t *Transition) {
	if t.Message == "" && !h.life.Gone {
		t.Message, t.Evidence = h.say(t)
		show(t.Evidence, h.policy.Reading)
	}
	h.emit(t)
}

// say puts the header's condition in words.
func (h *Header) say(t *Transition) (string, []Evidence) {
	if h.key.WholeSite() {
		return h.sayOver()
	}
	under := h.under()
	name, _ := h.key.Header()
	if !h.standing() {
		return fmt.Sprintf("Header %s is back: of its %d stations that were low, %d still are.%s", name, len(under), h.low(), h.leftInWords()), t.Evidence
	}
	rest, inlet := h.median(func(m *member) float64 { return m.Rest }), h.median(func(m *member) float64 { return m.Inlet })
	text := fmt.Sprintf("Header %s is low: the inlets of %d of %d stations with their supply on fell together", name, len(under), max(h.FedAtMost, len(under)))
	evidence := append(t.Evidence, Evidence{Name: "stations_low", Value: float64(len(under))}, Evidence{Name: "stations_fed", Value: float64(max(h.FedAtMost, len(under)))})
	if rest > 0 {
		text = fmt.Sprintf("%s, from %s to %s or less (medians)", text, h.policy.Reading.Number(rest), h.policy.Reading.Gauge(inlet))
		evidence = append(evidence, Evidence{Name: "inlet_before", Value: rest, Unit: "Pa gauge"}, Evidence{Name: "inlet_when_seen", Value: inlet, Unit: "Pa gauge"})
	}
	return text + ".", append(evidence, Evidence{Name: "stations", Text: strings.Join(under, ", ")})
}

// under lists the stations under the alarm, by name.
func (h *Header) under() []string {
	var out []string
	for i := range h.Members {
		if h.Members[i].Under {
			out = append(out, h.Members[i].Station)
		}
	}
	slices.Sort(out)
	return out
}

// median gives that of a figure of the stations whose inlet fell, 0 if there is none.
func (h *Header) median(of func(*member) float64) float64 {
	var all []float64
	for i := range h.Members {
		if m := &h.Members[i]; m.Under && m.Fell != 0 {
			all = append(all, of(m))
		}
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return all[len(all)/2]
}
