package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/live"
)

const (
	mostStreams = 64
	// mostStreamsOf is what one login's name or token can have of them: a browser has one. Own choice.
	mostStreamsOf = 16
	mostWatched   = 8
	beat          = 300 * time.Millisecond // between traces
	slowBeats     = 4                      // beats between figures
	aliveBeats    = 17                     // beats between signs of life, about 5 s
	writeWithin   = 10 * time.Second
)

// stream is one reader of events.
type stream struct {
	site    *site
	w       http.ResponseWriter
	control *http.ResponseController
	cards   *seen // nil: not wanted
	watched []*watched
	id      uint64
	by      *reader
	still   func() bool // reports whether the reader is still logged in
}

// watched is a station whose page is open.
type watched struct {
	key    station.Key
	cursor live.Cursor
	parts  map[string]string // as sent last
	state  string
	until  station.Instant // up to which traces and state were sent
}

// partsJSON is what a station's page gets.
type partsJSON struct {
	Key   string            `json:"key"`
	Parts map[string]string `json:"parts"`
}

// events streams what changes: ?cards=1 the stations, ?watch=site/station a station's
// figures and traces.
func (s *site) events(w http.ResponseWriter, r *http.Request) {
	st, err := s.newStream(w, r.URL.Query())
	if st != nil {
		st.by, st.still = readerOf(r), func() bool { return s.still(r) }
	}
	if err != nil {
		plain(w, http.StatusBadRequest, err.Error())
		return
	}
	if !s.streams.take(st.by) {
		w.Header().Set("Retry-After", "30")
		plain(w, http.StatusServiceUnavailable, fmt.Sprintf("all %d streams are taken, or %d by one login; the page asks every 5 s instead", mostStreams, mostStreamsOf))
		return
	}
	defer s.streams.leave(st.by)
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("X-Accel-Buffering", "no")
	if r.Method == http.MethodHead {
		return
	}
	_ = st.control.SetReadDeadline(time.Time{}) // the request has been read; its deadline would end the stream
	st.run(r.Context())
}

// places are the streams that are taken, by who has them.
type places struct {
	mu    sync.Mutex
	taken int
	of    map[string]int
}

// take reserves a place for a reader, and reports whether there was one. Where nobody logs in all are for everybody.
func (p *places) take(who *reader) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.taken >= mostStreams || !who.open && p.of[who.counted()] >= mostStreamsOf {
		return false
	}
	if p.of == nil {
		p.of = map[string]int{}
	}
	p.taken++
	p.of[who.counted()]++
	return true
}

func (p *places) leave(who *reader) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.taken--
	if p.of[who.counted()]--; p.of[who.counted()] == 0 {
		delete(p.of, who.counted())
	}
}

func (s *site) newStream(w http.ResponseWriter, q url.Values) (*stream, error) {
	st := &stream{site: s, w: w, control: http.NewResponseController(w), by: &reader{open: s.Identity == nil}}
	if q.Get("cards") != "" {
		st.cards = &seen{}
	}
	for _, text := range q["watch"] {
		k, err := keyOf(text)
		if err != nil {
			return nil, err
		}
		if _, ok := s.Board.Get(k); !ok {
			return nil, fmt.Errorf("watch names %.80q: there is no such station", text)
		}
		st.watched = append(st.watched, &watched{key: k, parts: map[string]string{}})
	}
	if len(st.watched) > mostWatched {
		return nil, fmt.Errorf("watch names %d stations: at most %d at a time", len(st.watched), mostWatched)
	}
	if st.cards == nil && st.watched == nil {
		return nil, fmt.Errorf("nothing to watch: expected cards=1 or watch=site/station, as in watch=northdock/press-4")
	}
	return st, nil
}

// keyOf reads "site/station", both escaped as in addresses.
func keyOf(text string) (station.Key, error) {
	a, b, ok := strings.Cut(text, "/")
	site, err1 := url.PathUnescape(a)
	name, err2 := url.PathUnescape(b)
	if !ok || err1 != nil || err2 != nil || site == "" || name == "" {
		return station.Key{}, fmt.Errorf("watch is %.80q: expected site/station, as in watch=northdock/press-4", text)
	}
	return station.Key{Site: site, Station: name}, nil
}

// run sends until the reader or the server goes.
func (st *stream) run(ctx context.Context) {
	t := time.NewTicker(beat)
	defer t.Stop()
	if st.cards != nil {
		st.site.cards.since(st.site, st.cards)
	}
	for _, w := range st.watched {
		st.fresh(w)
		if st.site.Live != nil {
			st.site.Live.Since(w.key, &w.cursor)
		}
	}
	if st.send("alive", []byte("{}")) != nil {
		return
	}
	for n := 1; ; n++ {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			if st.step(n) != nil {
				return
			}
		}
	}
}

// step sends what is due at beat n.
func (st *stream) step(n int) error {
	for _, w := range st.watched {
		if err := st.trace(w); err != nil {
			return err
		}
	}
	if n%slowBeats == 0 {
		if err := st.slow(); err != nil {
			return err
		}
	}
	if n%aliveBeats == 0 {
		if !st.still() {
			return errLogin
		}
		return st.send("alive", []byte("{}"))
	}
	return nil
}

func (st *stream) slow() error {
	if st.cards != nil {
		if b := st.site.cards.since(st.site, st.cards); b != nil {
			if err := st.send("stations", b); err != nil {
				return err
			}
		}
	}
	for _, w := range st.watched {
		parts := st.fresh(w)
		if len(parts) == 0 {
			continue
		}
		b, err := json.Marshal(partsJSON{path(w.key), parts})
		if err != nil {
			return err
		}
		if err := st.send("station", b); err != nil {
			return err
		}
	}
	return nil
}

// partNames are the templates of the parts of a station's page that change.
var partNames = []string{"condition", "diagram", "figures"}

// fresh gives the parts that differ from what was sent last.
func (st *stream) fresh(w *watched) map[string]string {
	one, ok := st.site.Board.Get(w.key)
	if !ok {
		return nil
	}
	v := liveParts(&one)
	v.Condition.cover(st.site.Board)
	st.site.addForms(v.Condition.Alarms, w.key, pageRoot, st.by, "")
	out := map[string]string{}
	var b bytes.Buffer
	for _, name := range partNames {
		b.Reset()
		if err := st.site.pages().ExecuteTemplate(&b, name, v); err == nil && b.String() != w.parts[name] {
			w.parts[name] = b.String()
			out[name] = b.String()
		}
	}
	return out
}

// trace sends a watched station's new bins, strokes and states.
func (st *stream) trace(w *watched) error {
	s := st.site
	one, ok := s.Board.Get(w.key)
	if s.Live == nil || !ok {
		return nil
	}
	v := traceView{Key: w.key, To: s.end(w.key), Trace: s.Live.Since(w.key, &w.cursor)}
	v.present(&one)
	if until := max(v.To, v.Until); until != w.until || v.State != w.state || v.Restarted || len(v.Strokes)+len(v.Intervals) > 0 {
		w.until, w.state = until, v.State
		return st.send("trace", v.json(nil))
	}
	return nil
}

// send writes one event; data has no line breaks.
func (st *stream) send(event string, data []byte) error {
	if err := st.control.SetWriteDeadline(time.Now().Add(writeWithin)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	st.id++
	b := append([]byte("id: "), strconv.FormatUint(st.id, 10)...)
	b = append(append(b, "\nevent: "...), event...)
	b = append(append(append(b, "\ndata: "...), data...), "\n\n"...)
	if _, err := st.w.Write(b); err != nil {
		return err
	}
	return st.control.Flush()
}
