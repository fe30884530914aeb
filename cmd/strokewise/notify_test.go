package main

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"strokewise/deploy/peers"
)

// Each receiver gets a test message and its answer is printed; one that fails makes the
// command fail and keeps none of the others from being tried.
func TestNotifyTest(t *testing.T) {
	mq, am := peers.Mosquitto(t), peers.Alertmanager(t, 60)
	calls := 0
	watch := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { calls++ }))
	defer watch.Close()
	hook := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(http.StatusTeapot)
		fmt.Fprint(w, "no such alarm")
	}))
	defer hook.Close()
	path := configOf(t, mq.Addr, t.TempDir(), fmt.Sprintf(`notify:
  webhook: { name: phone, url: "%s/t0ken" }
  alertmanagers: [{ name: am, url: "http://%s" }]
  mail: [{ name: nobody, server: "127.0.0.1:1", from: a@b.example, to: [c@d.example], starttls: never-on-loopback }]
  panels: [{ name: lights, topic_prefix: lights }]
  dead_man: { url: "%s/t0ken" }
`, hook.URL, am.Addr, watch.URL))
	code, out, errOut := call("notify", "test", "--config", path)
	for _, want := range []string{`phone: failed: receiver answered 418 I'm a teapot: "no such alarm"`, "am: 200 OK\n", "nobody: failed: ", `lights: the broker has taken "test" on lights/test`} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if code != exitFault || !strings.Contains(errOut, "2 of 4 receivers failed") || strings.Contains(out+errOut, "t0ken") || calls != 0 {
		t.Errorf("exit %d, %d calls of the watch: %s", code, calls, errOut)
	}
	if code, out, _ := call("notify", "test", "--config", path, "--receiver", "dead-man"); code != exitOK || out != "dead-man: 200 OK\n" || calls != 1 {
		t.Errorf("exit %d: %s", code, out)
	}
	if code, _, errOut := call("notify", "test", "--config", path, "--receiver", "boss"); code != exitFault || !strings.Contains(errOut, `no receiver is named "boss"`) {
		t.Errorf("exit %d: %s", code, errOut)
	}
	if code, _, errOut := call("notify", "test", "--config", configOf(t, mq.Addr, t.TempDir(), "")); code != exitFault || !strings.Contains(errOut, "there is no receiver") {
		t.Errorf("exit %d: %s", code, errOut)
	}
}
