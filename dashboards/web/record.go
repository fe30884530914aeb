package web

import (
	"context"
	"net/http"
	"strconv"
	"sync"
	"time"

	"strokewise/dashboards/access"
	"strokewise/dashboards/statuscode"
	"strokewise/dashboards/trail"
)

// recorder writes down what was asked, and bounds what strangers can have written.
type recorder struct {
	trail *trail.Trail

	mu      sync.Mutex
	used    float64 // permissions of strangers that are not refilled yet
	at      time.Time
	dropped int
}

// Strangers have so many lines at once, then so many a second: 25 MB a day at most. Own choice.
const (
	strangerBurst = 100
	strangerRate  = 1.0
)

type entryKey struct{}

// noted returns the line that will be written about a request, for handlers to fill in.
func noted(r *http.Request) *trail.Entry {
	if e, ok := r.Context().Value(entryKey{}).(*trail.Entry); ok {
		return e
	}
	return &trail.Entry{}
}

// record writes down everything that is sent to change something, with what became of it.
func (s *site) record(next http.Handler) http.Handler {
	if s.Trail == nil {
		return next
	}
	rec := &recorder{trail: s.Trail, at: s.Now()}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodPost && r.URL.Path != Callback && r.URL.Path != signonPath {
			next.ServeHTTP(w, r)
			return
		}
		e := &trail.Entry{At: s.Now(), What: clipped(r.URL.Path), From: hostName(r.RemoteAddr)}
		a := statuscode.Keep(w)
		next.ServeHTTP(a, r.WithContext(context.WithValue(r.Context(), entryKey{}, e)))
		if r.URL.Path == signonPath && a.Status < http.StatusBadRequest {
			return // a login that has begun is none yet
		}
		if e.Outcome == "" {
			e.Outcome = outcomeOfStatus(a.Status)
		}
		rec.write(e, a.Status, s.Now())
	})
}

// write appends a line, unless it is one of too many by strangers. Whether it was written is seen in
// the trail's state: the act has been done.
func (rec *recorder) write(e *trail.Entry, status int, now time.Time) {
	if strange(e, status) && !rec.take(now) {
		return
	}
	rec.mu.Lock()
	if rec.dropped > 0 {
		e.Detail = clipped(e.Detail + " [before it " + strconv.Itoa(rec.dropped) + " more were turned away and not written down]")
		rec.dropped = 0
	}
	rec.mu.Unlock()
	_ = rec.trail.Append(*e)
}

// strange reports whether a line is about something that was not done for somebody who is not known, whatever the reason, or
// for somebody who sends too fast.
func strange(e *trail.Entry, status int) bool {
	return status == http.StatusTooManyRequests || e.By == "" && status >= http.StatusBadRequest
}

func (rec *recorder) take(now time.Time) bool {
	rec.mu.Lock()
	defer rec.mu.Unlock()
	rec.used, rec.at = access.Refill(rec.used, strangerRate, rec.at, now)
	if rec.used+1 > strangerBurst {
		rec.dropped++
		return false
	}
	rec.used++
	return true
}

// outcomeOfStatus returns what became of a request, by its answer.
func outcomeOfStatus(status int) string {
	switch {
	case status == http.StatusAccepted:
		return undecided
	case status < http.StatusBadRequest:
		return "done"
	case status == http.StatusUnauthorized || status == http.StatusForbidden:
		return "denied"
	case status == http.StatusTooManyRequests:
		return "slowed down"
	case status == http.StatusConflict:
		return "refused"
	case status < http.StatusInternalServerError:
		return notTaken
	}
	return "failed"
}

// clipped returns a text that fits a line, whatever was sent.
func clipped(text string) string {
	const most = 1200 // characters: a reason of 1000 and who agreed
	r := []rune(text)
	return string(r[:min(len(r), most)])
}

// wayNames say how we know who asks.
var wayNames = map[way]string{byCookie: "login", byToken: "token", byProxy: "proxy"}

// note fills in who asks.
func (who *reader) note(e *trail.Entry) {
	e.Who, e.By = who.Name, wayNames[who.way]
	if who.panel {
		e.By = "panel " + who.Name
	}
	if who.from != "" {
		e.From = who.from
	}
}
