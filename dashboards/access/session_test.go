package access

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func sessions(t *testing.T) (*Sessions, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "logins.json")
	s, err := OpenSessions(path, UsualLasting)
	if err != nil {
		t.Fatal(err)
	}
	return s, path
}

func begin(t *testing.T, s *Sessions, user, was string, now time.Time) string {
	t.Helper()
	c, err := s.Begin(Session{User: user, From: "10.0.0.1"}, was, now)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestSessionsEnd(t *testing.T) {
	s, path := sessions(t)
	c := begin(t, s, "ana", "", noon)
	found := func(at time.Duration) bool { _, err := s.Find(c, noon.Add(at)); return err == nil }
	if !found(59*time.Minute) || !found(118*time.Minute) {
		t.Error("a session in use has ended")
	}
	if found(118*time.Minute + UsualLasting.Idle) {
		t.Error("a session that was idle for its time is still there")
	}
	c = begin(t, s, "ana", "", noon)
	for at := time.Duration(0); at < UsualLasting.Longest; at += 50 * time.Minute {
		if !found(at) {
			t.Fatalf("ended after %v in use", at)
		}
	}
	if found(UsualLasting.Longest) {
		t.Error("a session outlasts its longest time")
	}
	text, err := os.ReadFile(path)
	if err != nil || strings.Contains(string(text), c) {
		t.Errorf("the cookie is at rest: %v", err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
}

func TestSessionsOutlastARestart(t *testing.T) {
	s, path := sessions(t)
	c, gone := begin(t, s, "ana", "", noon), begin(t, s, "ben", "", noon)
	if err := s.End(gone); err != nil {
		t.Fatal(err)
	}
	s.Use("0a", noon)
	again, err := OpenSessions(path, UsualLasting)
	if err != nil {
		t.Fatal(err)
	}
	if x, err := again.Find(c, noon.Add(time.Minute)); err != nil || x.User != "ana" || !again.Marked("a", s.Mark("a")) || again.Marked("b", s.Mark("a")) {
		t.Errorf("%+v, %v", x, err)
	}
	if _, err := again.Find(gone, noon); err == nil {
		t.Error("a logout does not outlast a restart")
	}
	if used, err := LastUses(path); err != nil || !used["0a"].Equal(noon) {
		t.Errorf("%v, %v", used, err)
	}
}

// A login takes the place of the browser's earlier session, and a proof changes the cookie.
func TestCookiesChange(t *testing.T) {
	s, _ := sessions(t)
	first := begin(t, s, "ana", "", noon)
	second := begin(t, s, "ana", first, noon)
	if _, err := s.Find(first, noon); err == nil || first == second {
		t.Error("a login leaves the earlier cookie in force")
	}
	later := noon.Add(10 * time.Minute)
	x, err := s.Find(second, later)
	if err != nil || s.Fresh(&x, later) {
		t.Errorf("fresh after ten minutes: %v", err)
	}
	third, err := s.Prove(second, later)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Find(second, later); err == nil {
		t.Error("a proof leaves the earlier cookie in force")
	}
	if x, err := s.Find(third, later); err != nil || !s.Fresh(&x, later) || !x.Began.Equal(noon) {
		t.Errorf("%+v, %v: a proof does not lengthen a session", x, err)
	}
}

func TestLogoutEverywhere(t *testing.T) {
	s, _ := sessions(t)
	a, b, other := begin(t, s, "ana", "", noon), begin(t, s, "ana", "", noon), begin(t, s, "ben", "", noon)
	if n, err := s.EndAll("ana"); n != 2 || err != nil {
		t.Errorf("%d, %v", n, err)
	}
	for c, ok := range map[string]bool{a: false, b: false, other: true} {
		if _, err := s.Find(c, noon); (err == nil) != ok {
			t.Errorf("found: %v, want %v", err == nil, ok)
		}
	}
}

func TestSessionsAreBounded(t *testing.T) {
	s, _ := sessions(t)
	first := begin(t, s, "ana", "", noon)
	for i := range mostOfUser {
		begin(t, s, "ana", "", noon.Add(time.Duration(i+1)*time.Second))
	}
	if _, err := s.Find(first, noon.Add(time.Minute)); err == nil || len(s.Of("ana", noon.Add(time.Minute))) != mostOfUser {
		t.Errorf("%d sessions of one user", len(s.Of("ana", noon.Add(time.Minute))))
	}
}

// Each pair of account and address waits for itself.
func TestGuessingIsSlow(t *testing.T) {
	var h Throttle
	now := noon
	for i := range freeTries {
		if w := h.Try("ana", "10.0.0.1", "", now); w != 0 {
			t.Fatalf("try %d waits %v", i, w)
		}
	}
	if w := h.Try("ana", "10.0.0.1", "", now); w != 0 {
		t.Fatalf("the wait begins before %d failures: %v", freeTries+1, w)
	}
	if w := h.Try("ana", "10.0.0.1", "", now); w != firstWait {
		t.Errorf("waits %v, want %v", w, firstWait)
	}
	for who, w := range map[string]time.Duration{"the account from elsewhere": h.Try("ana", "10.0.0.2", "", now), "another account from there": h.Try("ben", "10.0.0.1", "", now),
		"a browser that has logged in, from there": h.Try("ana", "10.0.0.1", "browser", now)} {
		if w != 0 {
			t.Errorf("%s waits %v for what an attacker did", who, w)
		}
	}
	tries := 0
	for end := noon.Add(24 * time.Hour); now.Before(end); tries++ {
		now = now.Add(max(h.Try("ANA", "10.0.0.1", "", now), time.Nanosecond))
	}
	// 2 s doubling to 15 min takes 2+4+...+512 s = 17 min for nine tries; then 95 of 15 min. Each is
	// asked for twice in this loop.
	if tries > 2*110 {
		t.Errorf("%d guesses a day", tries/2)
	}
	h.Succeeded("ana", "10.0.0.1", "")
	if w := h.Try("ana", "10.0.0.1", "", now); w != 0 {
		t.Errorf("waits %v after a success", w)
	}
}

func TestAnAddressHasAPace(t *testing.T) {
	var h Throttle
	passed := 0
	for i := range 1000 {
		if h.Try(fmt.Sprint("user", i), "2001:db8::"+fmt.Sprintf("%x", i), "", noon) == 0 { // one /64
			passed++
		}
	}
	if passed != tryBurst {
		t.Errorf("%d tries at once from one network, want %d", passed, tryBurst)
	}
	if h.Try("ana", "2001:db8:0:1::1", "", noon) != 0 || h.Try("ana", "2001:db8::1", "known", noon) != 0 {
		t.Error("another network, or a browser that has logged in before, waits")
	}
}

// Requests overtake each other: that brings no permission back twice. A clock that was set back holds nobody up for ever.
func TestPaceOfOvertakingRequests(t *testing.T) {
	var p Pace
	taken := 0
	for i := range 1000 {
		if p.Order("ana", noon.Add(time.Duration(i%2)*10*time.Second)) == 0 {
			taken++
		}
	}
	if taken > orderBurst+10 {
		t.Errorf("%d orders are taken within 10 s, want %d at most", taken, orderBurst+10)
	}
	if p.Order("ana", noon.Add(-time.Hour)) == 0 || p.Order("ana", noon.Add(-time.Hour+time.Second)) != 0 {
		t.Error("after the clock was set back")
	}
}

func TestThrottleIsBounded(t *testing.T) {
	var h Throttle
	for i := range mostTries + 500 {
		h.Try("ana", fmt.Sprintf("10.%d.%d.1", i/256, i%256), "", noon.Add(time.Duration(i)))
	}
	if len(h.pairs) > mostTries || len(h.addresses) > mostTries {
		t.Errorf("%d pairs, %d addresses", len(h.pairs), len(h.addresses))
	}
}

// FuzzSessionsFile: whatever the file of logins holds, it is refused with what to do, or read; a cookie that nobody was given is
// no login then.
func FuzzSessionsFile(f *testing.F) {
	f.Add([]byte(`{"key":"AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=","sessions":[{"id":"x","user":"ana","began":"2026-03-02T11:00:00Z","seen":"2026-03-02T11:59:00Z"}]}`), "cookie")
	f.Add([]byte(`{"sessions":[{"id":"","grant":{}}],"used":{"":"2026-03-02T11:00:00Z"}}`), "")
	f.Add([]byte("null"), "x")
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, data []byte, cookie string) {
		path := filepath.Join(dir, "logins.json")
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := OpenSessions(path, UsualLasting)
		if err != nil {
			if !strings.Contains(err.Error(), "remove the file") {
				t.Error(err)
			}
			return
		}
		if x, err := s.Find(cookie, noon); err == nil && x.ID != digest(cookie) {
			t.Errorf("the cookie %q is the login %+v", cookie, x)
		}
		if len(s.key) != idSize || s.Marked("session x", "") {
			t.Error("the key of the forms is weak")
		}
	})
}
