package main

import (
	"strings"
	"testing"

	"strokewise/deploy/peers"
)

// Reanalysis refuses while the program runs, and tells of every station afterwards.
func TestReanalyse(t *testing.T) {
	broker := peers.Mosquitto(t)
	cfg := configOf(t, broker.Addr, t.TempDir(), "")
	c := start(t, "run", "--config", cfg)
	c.ready()
	if code, _, errOut := call("reanalyse", "--config", cfg); code != exitFault || !strings.Contains(errOut, "stop the program") {
		t.Errorf("while it runs: code %d, %s", code, errOut)
	}
	if code := c.interrupt(); code != 0 {
		t.Fatal(c.said())
	}
	code, out, errOut := call("reanalyse", "--config", cfg, "--write")
	if code != 0 || !strings.Contains(out, "northdock/press-4") || !strings.Contains(out, "nothing differs") {
		t.Errorf("code %d, %s%s", code, out, errOut)
	}
	if code, _, errOut := call("reanalyse", "--config", cfg, "--station", "nowhere"); code != exitFault || !strings.Contains(errOut, "cannot find station") {
		t.Errorf("code %d, %s", code, errOut)
	}
}
