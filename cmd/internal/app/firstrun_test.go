package app

import (
	"errors"
	"strings"
	"testing"

	"strokewise/dashboards/web"
)

// Without a station and a broker the runtime is ready, and listens where the page tells it to: an address at
// which nobody answers is said, and nothing goes on behind a stop.
func TestARuntimeWithoutStationsListens(t *testing.T) {
	a, stop, err := Start(t.Context(), Options{Data: t.TempDir(), Listen: "127.0.0.1:0", CheckFile: func([]byte) error { return errors.New("checked") }})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := stop(); err != nil {
			t.Error(err)
		}
	}()
	f := a.first
	if _, _, err := f.Write(web.Plan{Site: "plant"}); err == nil || !strings.Contains(err.Error(), "listen first") {
		t.Errorf("written before anything was heard: %v", err)
	}
	if err := f.Begin(web.ListenAt{Broker: "ws://a"}); err == nil || f.State().Running {
		t.Errorf("a scheme that is not known is taken: %v", err)
	}
	for range 2 { // the second ends the first
		waitFor(t, "a beginning", func() bool { return f.Begin(web.ListenAt{Broker: "127.0.0.1:1", User: "u", Password: "word"}) == nil })
		waitFor(t, "why nothing is heard", func() bool { return strings.Contains(f.State().Trouble, "cannot connect") })
		if h := f.State(); !h.Running || h.Broker != "tcp://127.0.0.1:1" || h.Password != "" || h.Filter != "#" || len(h.Steps) == 0 {
			t.Errorf("%+v", h)
		}
	}
	f.Stop()
	if f.State().Running {
		t.Error("it goes on after a stop")
	}
	if _, faults, err := f.Write(web.Plan{Site: "plant"}); err != nil || faults != "checked" {
		t.Errorf("%v %q", err, faults)
	}
	if _, _, err := f.Write(web.Plan{Site: "a b"}); err == nil {
		t.Error("a site that is no identifier is taken")
	}
	if _, _, err := f.Write(web.Plan{Site: "a", Stations: []web.PlannedStation{{ID: "x", Channels: []web.PlannedChannel{{Series: 7, Channel: "cycles"}}}}}); err == nil {
		t.Error("a value that was never heard is taken")
	}
}
