package main

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"strokewise/collector/playback"
	"strokewise/deploy/peers"
)

const (
	conditionText = `document.querySelector("[data-part=condition] .state").innerText`
	// typing puts words into the first alarm's form, as a person would: the field is marked
	// to see that it is still the same one.
	typing   = `(f => { f.querySelector("[name=why]").value = "hose worn"; const w = f.querySelector("[name=who]"); w.focus(); w.value = "Ana"; f.dataset.marked = "yes"; return f.dataset.form })(document.querySelector("[data-part=condition] form"))`
	typed    = `(f => !!f && f.querySelector("[name=why]").value === "hose worn" && document.activeElement === f.querySelector("[name=who]"))(document.querySelector("[data-part=condition] form[data-marked=yes]"))`
	unfolds  = `document.querySelector("[data-part=condition] [data-alarm] details").open = true`
	unfolded = `!!document.querySelector("[data-part=condition] [data-alarm] details[open]")`
	sends    = `document.querySelector("[data-part=condition] form[data-marked=yes] button[value=acknowledge]").click()`
)

// A form in which somebody writes stays while the page round it moves, and acknowledges
// the alarm when it is sent.
func TestAFormStaysWhileThePageMoves(t *testing.T) {
	browser := peers.Browser(t)
	broker := peers.Mosquitto(t)
	c := start(t, "run", "--config", configOf(t, broker.Addr, t.TempDir(), ""))
	c.ready()
	begun := time.Now().Add(-time.Hour)
	playAll(t, broker.Addr, begun, 0)
	c.await("an alarm", "/metrics", func(b string) bool {
		v, ok := metric(b, leakAlarm("unacknowledged"))
		return ok && v == 1
	})
	ctx, cancel := chromedp.NewContext(browser)
	defer cancel()
	var w watch
	go w.listen(ctx)
	visit(t, ctx, "http://"+c.addr+"/station/"+playback.Site+"/clamp-3?span=30", "[data-part=condition] form")
	until(t, ctx, "the page has a stream", ownStream)
	played := make(chan struct{})
	go func() {
		defer close(played)
		playAll(t, broker.Addr, begun.Add(30*time.Minute), 10*time.Millisecond)
	}()
	defer func() { <-played }()
	before, moves := eval[string](t, ctx, conditionText), 0
	eval[bool](t, ctx, unfolds)
	until(t, ctx, "the condition moves", `(`+conditionText+`) !== `+strconv.Quote(before))
	if !eval[bool](t, ctx, unfolded) {
		t.Error("what was unfolded folds while the page moves")
	}
	if alarm := eval[string](t, ctx, typing); alarm == "" {
		t.Fatal("the form names no alarm")
	}
	for late := time.Now().Add(patience); moves < 3; time.Sleep(200 * time.Millisecond) {
		if now := eval[string](t, ctx, conditionText); now != before {
			before, moves = now, moves+1
		}
		if time.Now().After(late) {
			t.Fatalf("the condition moves %d times only", moves)
		}
	}
	if !eval[bool](t, ctx, typed) {
		t.Fatal("what was typed is lost")
	}
	if !eval[bool](t, ctx, unfolded) {
		t.Error("what was unfolded folds while somebody writes")
	}
	eval[any](t, ctx, sends)
	c.await("the acknowledgement", "/metrics", func(b string) bool {
		v, ok := metric(b, leakAlarm("unacknowledged"))
		return !ok || v == 0 // none: the leak has ended meanwhile
	})
	until(t, ctx, "the page says what was written down", `!!document.querySelector(".done")`)
	until(t, ctx, "the button has gone", `!document.querySelector("[data-part=condition] form[data-form=outlet-leak] button[value=acknowledge]")`)
	for _, l := range looks {
		if err := chromedp.Do(ctx, chromedp.EmulateViewport(l.width, 900), scheme(l.scheme)); err != nil {
			t.Fatal(err)
		}
		shot, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
		if err != nil {
			t.Fatal(err)
		}
		keep(t, "form-"+l.name+".png", shot)
		eval[any](t, ctx, axe+`;null`)
		if found := eval[[]string](t, ctx, axeRun); len(found) > 0 {
			t.Errorf("%s: axe-core: %s", l.name, strings.Join(found, "; "))
		}
	}
	if wrong := w.said(); len(wrong) > 0 {
		t.Errorf("the browser complains: %s", strings.Join(wrong, "; "))
	}
	if _, audit := c.get("/audit"); !strings.Contains(audit, "hose worn") {
		t.Errorf("not in the audit:\n%s", audit)
	}
}
