package notify

import (
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/deploy/peers"
	"strokewise/rules"
)

// heldAlert is what a real Alertmanager says of an alert.
type heldAlert struct {
	Labels      map[string]string `json:"labels"`
	Annotations map[string]string `json:"annotations"`
	StartsAt    time.Time         `json:"startsAt"`
	EndsAt      time.Time         `json:"endsAt"`
	Generator   string            `json:"generatorURL"`
}

// held asks for the active alerts of a name.
func held(t *testing.T, addr, name string) []heldAlert {
	t.Helper()
	c := NewClient(nil)
	defer c.CloseIdleConnections()
	res, err := c.Get("http://" + addr + "/api/v2/alerts?active=true&filter=" + url.QueryEscape(`alertname="`+name+`"`))
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	var out []heldAlert
	if err := json.NewDecoder(res.Body).Decode(&out); err != nil || res.StatusCode != http.StatusOK {
		t.Fatal(res.Status, err)
	}
	return out
}

func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for until := time.Now().Add(patience); time.Now().Before(until); time.Sleep(20 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatal("waited in vain for: " + what)
}

// standing is the picture of what is open.
type standing struct {
	mu    sync.Mutex
	open  []rules.Transition
	dark  bool
	asked int
}

// times returns how often it was asked for.
func (s *standing) times() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.asked
}

func (s *standing) get() ([]rules.Transition, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.asked++
	return append([]rules.Transition(nil), s.open...), !s.dark
}

func (s *standing) set(open ...rules.Transition) {
	s.mu.Lock()
	s.open = open
	s.mu.Unlock()
}

func leftAlarm(at time.Time, to rules.AlarmState) rules.Transition {
	from := rules.Normal
	if to == rules.ReturnedUnacknowledged {
		from = rules.Unacknowledged
	}
	return rules.Transition{
		Key: station.Key{Site: "northdock", Station: "press-4"}, Branch: "forming", Alarm: rules.PressureLeft, Priority: rules.High,
		From: from, To: to, At: station.InstantOf(at), Raised: station.InstantOf(at.Add(-time.Minute)), Message: "830 kPa are left.", Caution: rules.CautionStored,
		Evidence: []rules.Evidence{{Name: "outlet pressure", Value: 830, Unit: "kPa"}},
	}
}

// A real Alertmanager: the alarm appears with labels and annotations, its end is put off each time that
// it is sent again, and it ends when it returns to normal.
func TestAlertmanagerHoldsAndResolves(t *testing.T) {
	am := peers.Alertmanager(t, 60)
	var s standing
	a := &Alertmanager{Name: "am", URL: "http://" + am.Addr + "/", Pages: "https://monitor.example/", Open: s.get, Every: 300 * time.Millisecond}
	defer a.Close()
	raise := leftAlarm(time.Now(), rules.Unacknowledged)
	if _, err := a.Deliver(t.Context(), &Item{Transition: raise}); err != nil {
		t.Fatal(err)
	}
	all := held(t, am.Addr, rules.PressureLeft)
	if len(all) != 1 {
		t.Fatalf("%d alerts", len(all))
	}
	h := all[0]
	for k, want := range map[string]string{"site": "northdock", "branch": "forming", "station": "press-4", "priority": "high"} {
		if h.Labels[k] != want {
			t.Errorf("label %s is %q", k, h.Labels[k])
		}
	}
	for _, k := range []string{"summary", "caution", "check_first", "respond", "description", "runbook_url", "evidence", "reminder"} {
		if h.Annotations[k] == "" {
			t.Errorf("no annotation %s", k)
		}
	}
	if h.Generator != "https://monitor.example/station/northdock/press-4" || !h.StartsAt.Equal(raise.Raised.Time().Truncate(time.Millisecond)) {
		t.Errorf("%+v", h)
	}

	s.set(raise)
	ctx, stop := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	wg.Go(func() { a.Run(ctx) })
	eventually(t, "held by sending again", func() bool { // each moves the end by the resolve timeout
		all := held(t, am.Addr, rules.PressureLeft)
		return len(all) == 1 && all[0].EndsAt.After(h.EndsAt)
	})
	acked := raise
	acked.To = rules.Acknowledged
	s.set(acked)
	eventually(t, "acknowledged", func() bool {
		all := held(t, am.Addr, rules.PressureLeft)
		return len(all) == 1 && all[0].Annotations["acknowledged"] != ""
	})
	back := leftAlarm(time.Now(), rules.ReturnedUnacknowledged)
	back.Raised = raise.Raised
	s.set(back)
	if _, err := a.Deliver(t.Context(), &Item{Transition: back}); err != nil {
		t.Fatal(err)
	}
	eventually(t, "resolved at once", func() bool { return len(held(t, am.Addr, rules.PressureLeft)) == 0 })
	s.set(acked) // a picture from before the return
	asked := s.times()
	eventually(t, "three more rounds", func() bool { return s.times() >= asked+3 }) // the first may have asked before
	if n := len(held(t, am.Addr, rules.PressureLeft)); n != 0 {
		t.Errorf("%d alerts stand again", n)
	}
	stop()
	wg.Wait()
}

// What ended long ago, told late, does not end what stands now.
func TestAlertmanagerIsNotMisledByAnOldReturn(t *testing.T) {
	am := peers.Alertmanager(t, 60)
	var s standing
	a := &Alertmanager{Name: "am", URL: "http://" + am.Addr, Open: s.get}
	defer a.Close()
	now := time.Now()
	present := leftAlarm(now, rules.Unacknowledged)
	s.set(present)
	if err := a.resend(t.Context()); err != nil {
		t.Fatal(err)
	}
	old := leftAlarm(now.Add(-time.Hour), rules.ReturnedUnacknowledged)
	if _, err := a.Deliver(t.Context(), &Item{Transition: old}); err != nil {
		t.Fatal(err)
	}
	if n := len(held(t, am.Addr, rules.PressureLeft)); n != 1 {
		t.Errorf("%d alerts after an old return", n)
	}
}

// While the log is worked off nothing is known and nothing is sent again; a device's clock
// that is ahead puts no end into the future; one receiver that is away is an error.
func TestAlertmanagerAtTheEdges(t *testing.T) {
	s := standing{dark: true}
	a := &Alertmanager{Name: "am", URL: "http://127.0.0.1:1", Open: s.get}
	defer a.Close()
	if err := a.resend(t.Context()); err != nil {
		t.Error("sends what it does not know:", err)
	}
	s.dark = false
	s.set(leftAlarm(time.Now(), rules.Shelved))
	if err := a.resend(t.Context()); err == nil || a.ResendFailed() != 1 {
		t.Error("nobody is there, and that is no error", a.ResendFailed())
	}
	now := time.Unix(1767225600, 0)
	ahead := leftAlarm(now.Add(time.Hour), rules.ReturnedUnacknowledged)
	x := a.alert(&ahead, now)
	if x.StartsAt != "2026-01-01T00:00:00Z" || x.EndsAt != x.StartsAt {
		t.Errorf("from %s to %s", x.StartsAt, x.EndsAt)
	}
	shelved := leftAlarm(now, rules.Shelved)
	if x := a.alert(&shelved, now); x.EndsAt != "" || !strings.HasPrefix(x.Annotations["shelved"], "since ") {
		t.Errorf("%+v", x)
	}
}

func TestAlertmanagerTestMessage(t *testing.T) {
	am := peers.Alertmanager(t, 60)
	a := &Alertmanager{Name: "am", URL: "http://" + am.Addr}
	defer a.Close()
	if answer, err := a.Test(t.Context()); err != nil || answer != "200 OK" {
		t.Fatal(answer, err)
	}
	if all := held(t, am.Addr, "StrokewiseTest"); len(all) != 1 || time.Until(all[0].EndsAt) > time.Minute {
		t.Errorf("%+v", all)
	}
}
