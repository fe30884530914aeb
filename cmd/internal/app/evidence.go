package app

import (
	"fmt"
	"strings"
	"sync"
	"time"

	"strokewise/cmd/internal/health"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/board"
)

// evidence keeps how far back the log reaches, and says where that is less than was asked for:
// entries were dropped early to make room, files lost some, or the log will not hold for long enough.
type evidence struct {
	part *health.Part

	mu      sync.Mutex
	flow    flow
	dropped int64     // entries dropped before their time, since the start
	oldest  time.Time // entry of the log
	lost    int64     // as the log counted it last
	gaps    int64
	lostAt  time.Time // when it last rose
	said    time.Time // that entries were dropped
}

// sayEvery is how often dropping is logged at most.
const sayEvery = time.Hour

// drop notes that entries were dropped, so many of them before their time.
func (e *evidence) drop(now time.Time, a *App, size samplelog.Size, early int64) {
	if early <= 0 {
		return
	}
	a.samples.Shorten(size.Oldest)
	e.mu.Lock()
	e.dropped += early
	dropped, say := e.dropped, now.Sub(e.said) >= sayEvery
	if say {
		e.said = now
	}
	e.mu.Unlock()
	e.look(now, a, size)
	if say {
		a.log.Warn("evidence is shortened: the sample log is full, and its oldest entries, all analysed, are dropped before log.keep is over; raise log.max_bytes to keep them",
			"reaches_back", now.Sub(size.Oldest).Round(time.Second), "keep", a.opt.Keep, "dropped_early", dropped, "max_bytes", size.MaxBytes)
	}
}

// look notes what the log holds, and reports it.
func (e *evidence) look(now time.Time, a *App, size samplelog.Size) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.flow.take(now, a.samples.Added())
	e.oldest = size.Oldest
	if size.Lost > e.lost || size.Gaps > e.gaps {
		e.lost, e.gaps, e.lostAt = size.Lost, size.Gaps, now
	}
	if why := e.doubts(now, a.opt.Keep, a.samples.Shortened(), size.MaxBytes); why != "" {
		e.part.Doubtful("%s", why)
	} else {
		e.part.Works()
	}
}

// doubts words what people must know; empty where there is nothing.
func (e *evidence) doubts(now time.Time, keep time.Duration, shortened time.Time, maxBytes int64) string {
	var out []string
	back := now.Sub(e.oldest).Round(time.Second)
	lasts := e.flow.lasts(maxBytes)
	if !shortened.IsZero() && now.Sub(shortened) < keep {
		out = append(out, fmt.Sprintf("evidence shortened: the sample log reaches back %s, to %s, and log.keep asks for %s; what is older was analysed and dropped for room%s",
			back, e.oldest.UTC().Format(time.RFC3339), keep, e.flow.advice(keep)))
	} else if lasts > 0 && lasts < keep {
		out = append(out, fmt.Sprintf("evidence will be shortened: at %.3g MB an hour log.max_bytes lasts for %s, and log.keep asks for %s%s",
			e.flow.perSecond*3600/1e6, lasts.Round(time.Minute), keep, e.flow.advice(keep)))
	}
	if !e.lostAt.IsZero() && now.Sub(e.lostAt) < keep {
		out = append(out, fmt.Sprintf("damaged files of the sample log have lost at least %d entries (%d places found since the start); what was concluded before stays", max(e.lost, 1), e.gaps))
	}
	return strings.Join(out, "; ")
}

// figures returns what is known without asking the log.
func (e *evidence) figures(now time.Time, maxBytes int64) board.Evidence {
	e.mu.Lock()
	defer e.mu.Unlock()
	out := board.Evidence{DroppedEarly: e.dropped, Lost: e.lost, Lasts: e.flow.lasts(maxBytes).Seconds()}
	if !e.oldest.IsZero() {
		out.Reach = now.Sub(e.oldest).Seconds()
	}
	return out
}

// flow is the rate at which the log grows: the mean since the start, and later of about the last six
// hours.
type flow struct {
	at        time.Time
	added     int64
	known     time.Duration
	perSecond float64 // bytes
}

const (
	flowOver  = 6 * time.Hour
	flowKnown = 10 * time.Minute // before, a backlog at the broker would be taken for the rule
)

// take notes how many bytes were added since the start.
func (f *flow) take(now time.Time, added int64) {
	if d := now.Sub(f.at); f.at.IsZero() || d <= 0 {
		f.at, f.added = now, added
	} else {
		f.known += d
		rate := float64(added-f.added) / d.Seconds()
		f.perSecond += (rate - f.perSecond) * min(1, d.Seconds()/min(f.known, flowOver).Seconds())
		f.at, f.added = now, added
	}
}

// lasts returns for how long a log of so many bytes lasts; 0: not known.
func (f *flow) lasts(maxBytes int64) time.Duration {
	if f.known < flowKnown {
		return 0
	}
	return samplelog.Lasts(maxBytes, f.perSecond)
}

// advice words what to set.
func (f *flow) advice(keep time.Duration) string {
	if f.known < flowKnown || f.perSecond <= 0 {
		return ""
	}
	return fmt.Sprintf("; set log.max_bytes to %s, or log.keep to less", samplelog.Bytes(samplelog.Needs(keep, f.perSecond)))
}
