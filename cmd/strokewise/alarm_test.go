package main

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"strokewise/collector/playback"
	"strokewise/deploy/peers"
)

// leakAlarm is the series of an alarm that the recordings raise.
func leakAlarm(name string) string {
	return `strokewise_alarm_` + name + `{alarm="outlet-leak",branch="clamping",priority="low",site="` + playback.Site + `",station="clamp-3"}`
}

// From a form's POST to the log, the alarm's state in /metrics, and the audit. A kill -9
// right after the answer keeps the acknowledgement, and the audit has it once.
func TestAnAcknowledgementOutlivesAKill(t *testing.T) {
	broker := peers.Mosquitto(t)
	config := configOf(t, broker.Addr, t.TempDir(), "")
	c := start(t, "run", "--config", config)
	c.ready()
	playAll(t, broker.Addr, time.Now().Add(-20*time.Minute), 0)
	c.await("the alarm", "/metrics", func(b string) bool {
		v, ok := metric(b, leakAlarm("unacknowledged"))
		return ok && v == 1
	})
	path := "/station/" + playback.Site + "/clamp-3/command"
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := client.PostForm("http://"+c.addr+path, url.Values{"kind": {"acknowledge"}, "alarm": {"outlet-leak"}, "who": {"Ana"}, "why": {"hose & <clamp>"}})
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != http.StatusSeeOther || !strings.HasPrefix(res.Header.Get("Location"), "/station/"+playback.Site+"/clamp-3?given=") {
		t.Fatalf("status %d, to %q", res.StatusCode, res.Header.Get("Location"))
	}
	c.kill()      // before a snapshot can have been stored
	for range 2 { // the second start finds it stored
		c = start(t, "run", "--config", config)
		c.ready()
		body := c.await("the acknowledgement", "/metrics", func(b string) bool {
			v, ok := metric(b, leakAlarm("unacknowledged"))
			return ok && v == 0
		})
		if v, ok := metric(body, leakAlarm("active")); !ok || v != 1 {
			t.Errorf("the alarm is active: %g, %v", v, ok)
		}
		_, audit := c.get("/audit")
		if n := strings.Count(audit, "hose &amp; &lt;clamp&gt;"); n != 1 {
			t.Errorf("%d lines in the audit:\n%s", n, audit)
		}
		c.kill()
	}
}

// What people say from the command line reaches the running program; what it refuses, it
// says.
func TestAlarmCommands(t *testing.T) {
	c := start(t, "demo", "--data", t.TempDir(), "--listen", "127.0.0.1:0")
	c.ready()
	at := "http://" + c.addr
	for _, w := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"note", "northdock/press-4", "hose changed", "--who", "Ana"}, 0, "done: note"},
		{[]string{"vented", "northdock/press-4", "gauge 3 reads 0", "--who", "Ana"}, 1, "refused: vented: the "},
		{[]string{"unshelve", "northdock/press-4", "outlet-leak", "--who", "Ana"}, 1, "not shelved"},
		{[]string{"inspected", "northdock/press-4", "sheet 12", "--who", "Ana"}, 0, "done: inspected"},
		{[]string{"at-work", "northdock/press-4", "--until", "2h", "--by", "Ana", "--note", "seal"}, 0, "done: at-work"},
		{[]string{"at-work", "northdock/press-4", "--until", "25h", "--who", "Ana", "--why", "seal"}, 1, "1 d (1440 minutes) at most"},
		{[]string{"at-work", "northdock/press-4", "--until", "noon", "--who", "Ana", "--why", "seal"}, 1, "--until is"},
		{[]string{"at-work", "northdock/press-4", "--until", "2h", "--who", "Ana"}, 2, "--why"},
		{[]string{"shelve", "northdock/press-4", "pressure-left", "--who", "Ana", "--why", "test", "--for", "13h"}, 1, "12 h (720 minutes) at most"},
		{[]string{"shelve", "northdock/press-4", "outlet-leak", "--who", "Ana", "--why", "test", "--for", "169h"}, 1, "7 d (10080 minutes) at most"},
		{[]string{"done", "northdock/press-4", "--what", "relief-test", "--document", "sheet 13", "--date", "2026-01-10", "--who", "Ana"}, 0, "done: done"},
		{[]string{"done", "northdock/press-4", "--what", "relief-test", "--document", "sheet 13", "--date", "soon", "--who", "Ana"}, 1, "a record needs what"},
		{[]string{"done", "northdock/press-4", "--what", "relief", "--document", "sheet 13", "--who", "Ana"}, 2, "--what"},
		{[]string{"acknowledge", "northdock/press-4", "pressure-left", "--who", "Ana"}, 1, "is not open"},
		{[]string{"acknowledge", "northdock/press-4", "leak", "--who", "Ana"}, 1, "expected one of"},
		{[]string{"note", "northdock/press-77", "x", "--who", "Ana"}, 1, "there is no station"},
		{[]string{"note", "press-4", "x", "--who", "Ana"}, 1, "site and station"},
		{[]string{"note", "northdock/press-4", " ", "--who", "Ana"}, 1, "the text of the note"},
		{[]string{"note", "northdock/press-4", "x"}, 2, "--who"},
		{[]string{"note", "northdock/press-4", "x", "--who", "Ana", "--url", "ftp://x"}, 1, "--url is"},
	} {
		code, out, errOut := call(append(append([]string{"alarm"}, w.args...), address(w.args, at)...)...)
		if code == exitLater && strings.Contains(errOut, "not decided yet") {
			continue // a busy machine: the pages below have it all the same
		}
		if code != w.code || !strings.Contains(out+errOut, w.says) || (code == exitOK) != (out != "" && errOut == "") {
			t.Errorf("%v: exit %d, %s%s", w.args, code, out, errOut)
		}
	}
	c.await("the note on the station's page", "/station/northdock/press-4", func(b string) bool {
		return strings.Contains(b, "hose changed") && strings.Contains(b, "document sheet 12") && strings.Contains(b, "<strong><bdi>Refused: ") &&
			strings.Contains(b, "<s><bdi>Vented, a person&#39;s word: gauge 3 reads 0</bdi></s>")
	})
	c.await("who is at work on the station's page", "/station/northdock/press-4", func(b string) bool {
		return strings.Contains(b, "<bdi>Ana</bdi> until ") && strings.Contains(b, "This is no lock-out and protects nobody")
	})
	if code, out, errOut := call("alarm", "work-ended", "northdock/press-4", "--who", "Ana", "--url", at); code != 0 || !strings.Contains(out, "done: work-ended") {
		t.Errorf("exit %d, %s%s", code, out, errOut)
	}
	c.await("nobody at work any more", "/station/northdock/press-4", func(b string) bool { return !strings.Contains(b, "<bdi>Ana</bdi> until ") })
	c.await("the records in the list of what comes due", "/due", func(b string) bool {
		return strings.Contains(b, "by Ana</bdi>, document <bdi>sheet 12") && strings.Contains(b, "2026-01-10, by Ana</bdi>, document <bdi>sheet 13")
	})
}

// address gives the option with the address, where there is none.
func address(args []string, url string) []string {
	for _, a := range args {
		if a == "--url" {
			return nil
		}
	}
	return []string{"--url", url}
}
