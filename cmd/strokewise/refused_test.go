package main

import (
	"bytes"
	"strings"
	"testing"

	"strokewise/collector/mqtt"
	"strokewise/deploy/peers"
)

// What was acknowledged as refused outlives kill -9, and is listed, shown with what is not printable
// quoted, taken again and discarded from the command line. What cannot be done is said, with exit code 1.
func TestRefusedOnTheCommandLine(t *testing.T) {
	broker := peers.Mosquitto(t)
	config := configOf(t, broker.Addr, t.TempDir(), "")
	c := start(t, "run", "--config", config)
	c.ready()
	p, err := mqtt.NewPublisher(t.Context(), "tcp://"+broker.Addr, "odd")
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	for _, payload := range []string{`{"t0":17672`, "{\"t0\":\x1b[31m"} {
		if err := p.Publish(t.Context(), "boost/northdock/press-4/inlet_pressure", []byte(payload)); err != nil {
			t.Fatal(err)
		}
	}
	c.await("two stored", "/metrics", func(b string) bool { v, _ := metric(b, "strokewise_refused_stored_total"); return v == 2 })
	c.kill()
	c = start(t, "run", "--config", config)
	c.ready()
	at := "http://" + c.addr
	for _, w := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"list"}, 0, "not-json"},
		{[]string{"list"}, 0, "boost/northdock/press-4/inlet_pressure"},
		{[]string{"show", "not-json"}, 0, "not-json: 2 messages"},
		{[]string{"show", "not-json"}, 0, `\x1b[31m`},
		{[]string{"show", "never"}, 1, "nothing is kept under"},
		{[]string{"take", "not-json", "--who", "Ana"}, 0, "2 are still refused (not-json) and stay"},
		{[]string{"take", "held", "--who", "Ana"}, 1, "accepted by themselves"},
		{[]string{"take", "not-json"}, 2, "--who"},
		{[]string{"discard", "not-json", "--who", "Ana"}, 0, "not-json: 2 discarded"},
		{[]string{"list"}, 0, "nothing is kept"},
		{[]string{"trust", "--who", "Ana"}, 0, "is trusted"},
	} {
		var out, errOut bytes.Buffer
		code := execute(t.Context(), append(append([]string{"refused"}, w.args...), "--url", at), &out, &errOut)
		if code != w.code || !strings.Contains(out.String()+errOut.String(), w.says) || strings.Contains(out.String(), "\x1b") {
			t.Errorf("%v: exit code %d, said %q %q", w.args, code, out.String(), errOut.String())
		}
	}
	if _, audit := c.get("/audit"); !strings.Contains(audit, "discard refused") {
		t.Errorf("the audit does not have it:\n%s", audit)
	}
}
