package main

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"strokewise/analyzer/station"
	"strokewise/collector/mqtt"
	"strokewise/collector/rig"
	"strokewise/deploy/peers"
)

// gateway publishes what a virtual station's sensors read, ten times a second, as a gateway does that nobody
// has described: numbers in bar with a time, under topics that say nothing.
func gateway(t *testing.T, ctx context.Context, broker, name string) {
	t.Helper()
	specs, err := rig.Plant(station.InstantOf(time.Now()))
	if err != nil {
		t.Fatal(err)
	}
	spec, err := rig.Find(specs, name)
	if err != nil {
		t.Fatal(err)
	}
	spec.Sensors.Rate = 10
	pub, err := mqtt.NewPublisher(ctx, "tcp://"+broker, "gateway")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	t.Cleanup(func() { <-done; pub.Close() })
	s := rig.New(spec, station.InstantOf(time.Now()).Floor(station.Second), 4711)
	go func() {
		defer close(done)
		for tick := time.NewTicker(100 * time.Millisecond); ; {
			select {
			case <-ctx.Done():
				tick.Stop()
				return
			case now := <-tick.C:
				for _, b := range s.Until(station.InstantOf(now)) {
					for i, v := range b.Values {
						if b.Channel.IsPressure() {
							v /= 1e5
						}
						if b.Channel <= station.Cycles {
							pub.Send(fmt.Sprintf("gw7/ai%d", 2-b.Channel), fmt.Appendf(nil, `{"ts": %d, "val": %.4g}`, int64(b.At(i))/1e6, v))
						}
					}
				}
			}
		}
	}()
}

// hasStroke is a trace with a mark of a stroke at least. Totals would wait for the minute's end.
var hasStroke = regexp.MustCompile(`"strokes":\[+\d`)

const (
	fileText = `document.querySelector("pre.file") ? document.querySelector("pre.file").textContent : ""`
	presses2 = `[...document.querySelectorAll("button[name=do]")].find(b => b.value === %q).click()`
	fillsIn  = `document.querySelector("[name='%s']").value = %q`
)

// widest names what reaches beyond the page.
const widest = `[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > document.documentElement.clientWidth + 1).map(e => e.tagName + "." + e.className + " " + (e.name || "") + " " + e.getBoundingClientRect().right).slice(0, 6).join("; ")`

// From a broker of which nothing is known to the first stroke that is counted, in a browser: the program runs
// without a station, the page listens, proposes, is corrected, and gives a file that passes the check.
func TestFirstRunInABrowser(t *testing.T) {
	browser := peers.Browser(t)
	broker := peers.Mosquitto(t)
	playing, stop := context.WithCancel(t.Context())
	defer stop()
	gateway(t, playing, broker.Addr, "press-4")
	data := t.TempDir()
	file := write(t, "plant.yaml", fmt.Sprintf("version: 1\nhttp: { listen: \"127.0.0.1:%d\" }\ndata: %s\n", peers.Port(t), data))
	c := start(t, "run", "--config", file)
	c.await("liveness", "/healthz", func(string) bool { return true })

	ctx, cancel := chromedp.NewContext(browser)
	defer cancel()
	var w watch
	go w.listen(ctx)
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(1280, 900), scheme("light")); err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	visit(t, ctx, "http://"+c.addr+"/", "[name=broker]") // the first page leads there
	look(t, ctx, "first-run-begin", "first-run-begin")
	eval[any](t, ctx, fmt.Sprintf(fillsIn, "broker", broker.Addr)+";"+fmt.Sprintf(presses2, "listen"))
	until(t, ctx, "the program listens", `!!document.querySelector("button[value=stop]")`)
	c.await("a proposal of all three channels", "/first-run", func(b string) bool {
		return strings.Contains(b, "Taken for inlet_pressure") && strings.Contains(b, "Taken for outlet_pressure") && strings.Contains(b, "Taken for cycles")
	})
	visit(t, ctx, "http://"+c.addr+"/first-run", "button[value=stop]")
	if lines := eval[int](t, ctx, `document.querySelectorAll("svg polyline").length`); lines < 3 {
		t.Errorf("%d traces are drawn", lines)
	}
	eval[any](t, ctx, `window.stop();`+fmt.Sprintf(presses2, "stop")) // the page would renew itself meanwhile
	until(t, ctx, "the proposal can be edited", `!!document.querySelector("[name='id.0']")`)
	look(t, ctx, "first-run-proposal", "first-run-proposal")
	eval[any](t, ctx, fmt.Sprintf(fillsIn, "id.0", "crusher")+";"+fmt.Sprintf(fillsIn, "plate.0.booster.set_pressure", "1000 kPa")+";"+fmt.Sprintf(presses2, "show"))
	until(t, ctx, "the file is shown", `!!document.querySelector("pre.file")`)
	look(t, ctx, "first-run-file", "first-run-file")
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(360, 740)); err != nil {
		t.Fatal(err)
	}
	look(t, ctx, "first-run-file-360", "first-run-file-360")
	text := eval[string](t, ctx, fileText)
	if page := eval[string](t, ctx, pageText); !strings.Contains(page, "finds no fault") {
		t.Fatalf("the file does not pass: %s", page)
	}
	for _, want := range []string{"unit: bar", "channel: cycles", "id: crusher", `set_pressure: "1000 kPa"`, "# needed for the leak", `time: { at: "/ts" }`} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	if strings.Contains(text, "the sensor's range") {
		t.Errorf("the counter is to be scaled:\n%s", text)
	}
	if was, err := os.ReadFile(file); err != nil || strings.Contains(string(was), "crusher") {
		t.Errorf("the page has written the configuration: %v %s", err, was)
	}
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil { // what a person does with it
		t.Fatal(err)
	}
	if code := execute(t.Context(), []string{"check", "--config", file}, os.Stderr, os.Stderr); code != exitOK {
		t.Errorf("check ends with %d", code)
	}
	if code, answer := post(t, c); code != http.StatusOK {
		t.Errorf("the program does not take it: %d %s", code, answer)
	}
	c.await("a stroke", "/station/plant/crusher/trace?span=300", func(b string) bool { return hasStroke.MatchString(b) })
	took := time.Since(began)
	if t.Logf("from an unknown broker to the first stroke: %s", took.Round(time.Second)); took > 3*time.Minute {
		t.Errorf("it took %s", took)
	}
	if body := c.await("the station", "/", func(b string) bool { return strings.Contains(b, "crusher") }); strings.Contains(body, "first-run") {
		t.Error("with a station the first page still speaks of the first run")
	}
	if wrong := w.said(); len(wrong) > 0 {
		t.Errorf("the browser complains: %s", strings.Join(wrong, "; "))
	}
}
