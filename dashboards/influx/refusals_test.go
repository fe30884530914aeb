package influx

import (
	"fmt"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"

	"strokewise/rules"
)

// partial answers as InfluxDB does: it takes the good points and tells of the bad ones.
func partial(f **fake, bad func(line string) bool, status int, text string) func(http.ResponseWriter, *request) bool {
	return func(w http.ResponseWriter, r *request) bool {
		n := 0
		for _, l := range r.lines {
			if bad(l) {
				n++
			} else {
				(*f).keep(l)
			}
		}
		return n > 0 && say(w, status, strings.ReplaceAll(text, "N", fmt.Sprint(n)))
	}
}

func TestBadPointsAreSkippedAndTheOthersWritten(t *testing.T) {
	for _, c := range []struct {
		status int
		text   string
	}{
		{400, `{"error":"partial write: field type conflict: input field \"strokes\" is type integer, already exists as type float dropped=N"}`},
		{400, `{"code":"invalid","message":"unable to parse 'x'"}`},
		{400, "no"}, // it takes others, so it is the point
		{422, `{"code":"unprocessable entity"}`},
		{201, `{"message":"N rejected"}`},
	} {
		t.Run(fmt.Sprint(c.status, " ", c.text), func(t *testing.T) {
			var f *fake
			bad := func(l string) bool { return strings.Contains(l, "strokes=62i") || strings.Contains(l, "strokes=91i") }
			f = newFake(t, partial(&f, bad, c.status, c.text))
			s := filled(t, 40)
			commit(t, s, 2, nil, alarm(1, rules.Unacknowledged))
			e, log, _ := running(t, s, options(f.URL))
			drained(t, s)
			await(t, "figures", func() bool { return e.Figures().Points == 39 })
			if got := e.Figures(); len(f.stored()) != 39 || got.Dropped[refusedReason] != 2 || len(f.seen()) > 25 {
				t.Errorf("%d stored, %d requests, figures %+v", len(f.stored()), len(f.seen()), got)
			}
			if log.count("points=2") != 1 || log.count("northdock/press-4") != 1 || log.count("cannot export") != 0 {
				t.Errorf("log:\n%s", log)
			}
		})
	}
}

// A server that refuses every point without a word on why is not searched to the last point.
func TestARefusalOfAllIsFoundSoon(t *testing.T) {
	var sick atomic.Bool
	sick.Store(true)
	f := newFake(t, func(w http.ResponseWriter, _ *request) bool { return sick.Load() && say(w, 400, "no") })
	s := filled(t, 1000)
	o := options(f.URL)
	o.Pace.First, o.Pace.Most = never, never // one round
	_, log, stop := running(t, s, o)
	await(t, "the fault", func() bool { return log.count("takes no point at all") == 1 })
	if n := len(f.seen()); n > 25 {
		t.Errorf("%d requests", n)
	}
	stop()
	sick.Store(false)
	running(t, s, options(f.URL))
	drained(t, s)
	if len(f.stored()) != 1000 {
		t.Errorf("%d stored", len(f.stored()))
	}
}

// A server that comes to its senses in the middle of a search is not held to what it refused
// before: suspects get a second hearing.
func TestSuspectsGetASecondHearing(t *testing.T) {
	for k := int64(1); k <= 9; k++ {
		var n atomic.Int64
		f := newFake(t, func(w http.ResponseWriter, _ *request) bool { return n.Add(1) <= k && say(w, 400, "no") })
		s := filled(t, 16)
		e, _, stop := running(t, s, options(f.URL))
		drained(t, s)
		stop()
		if got := e.Figures(); len(f.stored()) != 16 || got.Points != 16 {
			t.Errorf("refused %d times: %d stored, %+v", k, len(f.stored()), got)
		}
	}
}

// Bad points at the front do not make the server doubted for long.
func TestManyBadPointsAtTheFront(t *testing.T) {
	var f *fake
	f = newFake(t, partial(&f, func(l string) bool {
		for n := range 9 {
			if strings.Contains(l, fmt.Sprintf("strokes=%di,", 60+n)) {
				return true
			}
		}
		return false
	}, 400, "no"))
	s := filled(t, 100)
	e, _, _ := running(t, s, options(f.URL))
	drained(t, s)
	await(t, "figures", func() bool { return e.Figures().Dropped[refusedReason] == 9 })
	if len(f.stored()) != 91 {
		t.Errorf("%d stored", len(f.stored()))
	}
}

// What is older than the bucket's retention is given up in one go, not point by point.
func TestPointsBeyondRetentionAreSkippedAtOnce(t *testing.T) {
	var f *fake
	f = newFake(t, partial(&f, func(string) bool { return true }, 422, `{"message":"partial write: points beyond retention policy dropped=N"}`))
	s := filled(t, 500)
	e, _, _ := running(t, s, options(f.URL))
	drained(t, s)
	await(t, "figures", func() bool { return e.Figures().Dropped[refusedReason] == 500 })
	if n := len(f.seen()); n != 1 {
		t.Errorf("%d requests", n)
	}
}

func TestTooLargeRequestsAreHalved(t *testing.T) {
	f := newFake(t, func(w http.ResponseWriter, r *request) bool { return len(r.lines) > 10 && say(w, 413, "too large") })
	s := filled(t, 100)
	e, _, _ := running(t, s, options(f.URL))
	drained(t, s)
	if got := e.Figures(); len(f.stored()) != 100 || got.Dropped[refusedReason] != 0 {
		t.Errorf("%d stored, %+v", len(f.stored()), got)
	}
}

// A server that breaks down while a bad point is searched for: what it took is not sent
// again, and what it did not take is.
func TestBreakdownInTheMiddleOfASearch(t *testing.T) {
	var f *fake
	var n atomic.Int64
	bad := partial(&f, func(l string) bool { return strings.Contains(l, "strokes=99i") }, 400, "unable to parse")
	f = newFake(t, func(w http.ResponseWriter, r *request) bool {
		if k := n.Add(1); k >= 4 && k < 8 {
			return say(w, 500, "")
		}
		return bad(w, r)
	})
	s := filled(t, 64) // strokes 60 to 123
	e, _, _ := running(t, s, options(f.URL))
	drained(t, s)
	await(t, "figures", func() bool { return e.Figures().Points == 63 })
	if got := e.Figures(); len(f.stored()) != 63 || got.Dropped[refusedReason] != 1 {
		t.Errorf("%d stored, %+v", len(f.stored()), got)
	}
	if r := f.seen(); len(r[7].lines) >= 64 {
		t.Errorf("all %d points are sent again", len(r[7].lines))
	}
}
