package notify

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// massBox holds pressure left at n stations of a site, and one leak before and one alarm of
// another site behind.
func massBox(n int) *box {
	b := newBox("phone", rules.OutletLeak)
	for i := range n {
		x := b.items[0]
		x.ID = int64(i + 2)
		x.Transition.Key.Station, x.Transition.Alarm = fmt.Sprintf("s-%d", i), rules.PressureLeft
		x.Transition.Message, x.Transition.Caution = fmt.Sprintf("The outlet still reads %d kPa gauge.", 600+i), rules.CautionStored
		b.items = append(b.items, x)
	}
	x := b.items[1]
	x.ID, x.Transition.Key.Site = int64(n+2), "southdock"
	b.items = append(b.items, x)
	return b
}

// post is what a hook of together_test got.
type gotEvent struct {
	Type, ID, Source string
	Data             struct {
		Station, Caution string
		Count            int
		Alarms           []togetherItem
	}
}

// catcher keeps what it gets and may fail first.
type catcher struct {
	mu   sync.Mutex
	fail int
	got  []gotEvent
}

func (c *catcher) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, _ := io.ReadAll(r.Body)
	var e gotEvent
	err := json.Unmarshal(body, &e)
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.fail > 0 || err != nil {
		c.fail--
		w.WriteHeader(http.StatusInternalServerError)
		return
	}
	c.got = append(c.got, e)
}

// A mass event is one message with every station in it; what else is due is told by itself.
func TestMassEventIsOneMessage(t *testing.T) {
	for _, fail := range []int{0, 3} {
		const n = 400
		b, c := massBox(n), &catcher{fail: fail}
		s, stop := run(t, b, c)
		await(t, s, "an empty outbox", func() bool { return b.left() == 0 })
		stop()
		if len(c.got) != 3 {
			t.Fatalf("failing %d times: %d messages", fail, len(c.got))
		}
		together := c.got[slices.IndexFunc(c.got, func(e gotEvent) bool { return e.Type == "strokewise.alarms.raised" })]
		if together.Data.Count != n || len(together.Data.Alarms) != n || together.Source != "/strokewise/northdock" || together.Data.Caution != rules.CautionStored {
			t.Fatalf("%s %s: %d of %d", together.Type, together.Source, len(together.Data.Alarms), n)
		}
		seen := map[string]bool{}
		for _, a := range together.Data.Alarms {
			seen[a.Station] = true
			if want := fmt.Sprintf("northdock/%s/pressure-left/", a.Station); !strings.HasPrefix(a.ID, want) || a.Message == "" || a.To != "unacknowledged" {
				t.Fatalf("%+v", a)
			}
		}
		if len(seen) != n {
			t.Errorf("%d stations named", len(seen))
		}
		if d, _ := s.Figures(); d["phone"] != n+2 {
			t.Errorf("%v", d)
		}
	}
}

// Fewer than ten, and people's words, are told one by one.
func TestFewAreToldOneByOne(t *testing.T) {
	b := massBox(groupLeast - 1)
	c := &catcher{}
	s, stop := run(t, b, c)
	await(t, s, "an empty outbox", func() bool { return b.left() == 0 })
	stop()
	if len(c.got) != groupLeast+1 {
		t.Errorf("%d messages", len(c.got))
	}
	b, c = massBox(19), &catcher{}
	for i := range b.items {
		b.items[i].Transition.From, b.items[i].Transition.To, b.items[i].Transition.By = rules.Unacknowledged, rules.Acknowledged, "Ana"
	}
	s, stop = run(t, b, c)
	await(t, s, "an empty outbox", func() bool { return b.left() == 0 })
	stop()
	if len(c.got) != 21 {
		t.Errorf("%d messages of people's words", len(c.got))
	}
}

// Stations that come one partition after the other within a moment are in the same message,
// and what is told alone does not wait for them.
func TestTheRestOfAMassEventIsWaitedFor(t *testing.T) {
	all := massBox(60)
	b := &growing{box: &box{due: map[int64]station.Instant{}, items: slices.Clone(all.items[:20])}, rest: all.items[20:]}
	c := &catcher{}
	s, stop := run(t, b, c)
	defer stop()
	s.Wake()
	await(t, s, "an empty outbox", func() bool { return b.left() == 0 })
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.got[0].Data.Station != "press-4" {
		t.Errorf("first %+v", c.got[0])
	}
	n := 0
	for _, e := range c.got {
		n += len(e.Data.Alarms)
	}
	if n != 60 || len(c.got) != 3 {
		t.Errorf("%d stations in %d messages", n, len(c.got))
	}
}

// growing is an outbox to which ten more items come between two looks.
type growing struct {
	*box
	rest []Item
}

func (g *growing) OutboxDue(ctx context.Context, receiver string, now station.Instant, limit int) ([]Item, error) {
	g.mu.Lock()
	n := min(10, len(g.rest))
	g.items, g.rest = append(g.items, g.rest[:n]...), g.rest[n:]
	g.mu.Unlock()
	return g.box.OutboxDue(ctx, receiver, now, limit)
}

// A route keeps each item back by itself.
func TestRoutesJudgeEachOfMany(t *testing.T) {
	b, c := massBox(20), &catcher{}
	s, stop := func() (*Sender, func()) {
		srv := httptest.NewServer(c)
		s := New(b, []Webhook{{Name: "phone", URL: srv.URL}}, nil)
		s.Route(&Routes{Routes: []Route{{Scope: Scope{Stations: []string{"s-3", "s-4", "s-5", "s-6", "s-7", "s-8", "s-9"}}, Receivers: []string{"phone"}}, {Receivers: []string{"other"}}}},
			func(station.Key, string) *rules.Transition { return nil })
		ctx, cancel := context.WithCancel(context.Background())
		done := make(chan struct{})
		go func() { s.Run(ctx); close(done) }()
		return s, func() { cancel(); <-done; srv.Close() }
	}()
	await(t, s, "an empty outbox", func() bool { return b.left() == 0 })
	stop()
	if len(c.got) != 1 || c.got[0].Data.Count != 7 || s.Withheld()["phone"] != 15 {
		t.Errorf("%d messages, %+v, withheld %v", len(c.got), c.got, s.Withheld())
	}
}

func TestMailOfMany(t *testing.T) {
	b := massBox(37)
	subject, body := togetherText(b.items[1:38], time.UTC, "http://pages")
	if subject != "[strokewise] high: pressure-left raised at 37 stations of northdock" {
		t.Error(subject)
	}
	for i := range 37 {
		if !strings.Contains(body, fmt.Sprintf("northdock/s-%d  2026-01-01 00:00:00 UTC\n    The outlet still reads %d kPa", i, 600+i)) {
			t.Fatalf("s-%d is not named:\n%s", i, body)
		}
	}
	if !strings.HasPrefix(body, "CAUTION: "+rules.CautionStored) || !strings.Contains(body, reminder) {
		t.Error(body)
	}
}

// Alertmanager gets an alert each, in few requests.
func TestAlertmanagerGetsAnAlertEach(t *testing.T) {
	var requests, alerts int
	srv := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var got []alert
		if err := json.NewDecoder(r.Body).Decode(&got); err != nil {
			t.Error(err)
		}
		requests, alerts = requests+1, alerts+len(got)
	}))
	defer srv.Close()
	a := &Alertmanager{Name: "am", URL: srv.URL}
	defer a.Close()
	if _, err := a.DeliverTogether(t.Context(), massBox(700).items[1:701]); err != nil || requests != 2 || alerts != 700 {
		t.Errorf("%d requests, %d alerts, %v", requests, alerts, err)
	}
}

// Whoever is told of a station of the site is told of its header; maintenance of a branch is
// none of the header.
func TestRoutesOfAHeader(t *testing.T) {
	now := time.Unix(1767225600, 0).UTC()
	low := rules.Transition{Key: station.HeaderKey("northdock", "west"), Alarm: rules.HeaderLow, Priority: rules.High, To: rules.Unacknowledged,
		At: station.InstantOf(now), Raised: station.InstantOf(now)}
	r := Routes{Routes: []Route{
		{Scope: Scope{Branches: []string{"forming"}}, Receivers: []string{"fitters"}},
		{Scope: Scope{Sites: []string{"southdock"}}, Receivers: []string{"others"}},
		{Scope: Scope{Stations: []string{"press-4"}}, Priorities: []rules.Priority{rules.Low}, Receivers: []string{"low"}},
	}, Windows: []Window{{Scope: Scope{Branches: []string{"forming"}}, From: now.Add(-time.Hour), To: now.Add(time.Hour)}}}
	for receiver, want := range map[string]bool{"fitters": true, "others": false, "low": false} {
		if got := r.Decide(receiver, &low, now, &low); got.Send != want {
			t.Errorf("%s: %+v", receiver, got)
		}
	}
	r.Windows[0].Scope = Scope{Sites: []string{"northdock"}}
	if got := r.Decide("fitters", &low, now, &low); got.Send {
		t.Errorf("while the site is maintained: %+v", got)
	}
}
