package main

import (
	"cmp"
	"context"
	_ "embed"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"strokewise/deploy/peers"
)

// axe is axe-core 4.14.1 (MPL-2.0, see the licence beside it), used in tests only.
//
//go:embed testdata/axe/axe.min.js
var axe string

// shotsEnv names a folder into which the tests put pictures of the pages, for people.
const shotsEnv = "STROKEWISE_SCREENSHOTS"

// watch gathers what a page complains of, until the context ends.
type watch struct {
	mu    sync.Mutex
	wrong []string
}

func (w *watch) listen(ctx context.Context) {
	for m, err := range chromedp.Console(ctx) {
		if err != nil {
			return
		}
		if m.IsException() || m.Type == "error" || m.Type == "warning" {
			w.mu.Lock()
			w.wrong = append(w.wrong, m.String())
			w.mu.Unlock()
		}
	}
}

func (w *watch) said() []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return append([]string(nil), w.wrong...)
}

// looks are the ways in which pages are looked at.
var looks = []struct {
	name   string
	width  int64
	scheme string
}{{"wide-light", 1280, "light"}, {"wide-dark", 1280, "dark"}, {"narrow-light", 390, "light"}, {"narrow-dark", 390, "dark"}}

// The pages of a running demonstration in a real browser: figures move by themselves, no
// console error, nothing that axe-core minds, no sideways scrolling, at both widths, light
// and dark.
func TestPagesInABrowser(t *testing.T) {
	browser := peers.Browser(t)
	c := start(t, "demo", "--no-past", "--data", t.TempDir(), "--listen", "127.0.0.1:0")
	c.await("a stroke rate", "/metrics", func(b string) bool {
		v, ok := metric(b, `strokewise_stroke_rate_hertz{branch="forming",site="northdock",station="press-4"}`)
		return ok && v > 0
	})
	for _, l := range looks {
		t.Run(l.name, func(t *testing.T) {
			ctx, cancel := chromedp.NewContext(browser)
			defer cancel()
			if err := chromedp.Do(ctx, chromedp.EmulateViewport(l.width, 900), scheme(l.scheme)); err != nil {
				t.Fatal(err)
			}
			var w watch
			go w.listen(ctx)
			for _, path := range pages {
				view(t, ctx, c, path, l.name)
			}
			if wrong := w.said(); len(wrong) > 0 {
				t.Errorf("the browser complains: %s", strings.Join(wrong, "; "))
			}
		})
	}
}

// scheme makes pages light or dark.
func scheme(value string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: value}}})
		return err
	})
}

// pages are the pages that are looked at.
var pages = []string{"/", "/station/northdock/press-4?span=30", "/station/northdock/press-4?span=28800", "/refused", "/program", "/costs", "/rig", "/audit", "/alarm-figures?days=1", "/due", "/after-shift",
	"/station/northdock/press-4/command", "/station/northdock/press-4/how", "/station/northdock/press-4/trends", "/backtest"}

// eval evaluates an expression in the page.
func eval[T any](t *testing.T, ctx context.Context, expression string) T {
	t.Helper()
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("%.60s: %v", expression, err)
	}
	return v
}

// axeRun gives what axe-core minds on the page.
const axeRun = `axe.run().then(r => r.violations.map(v => v.id + ": " + v.help + " " + v.nodes.map(n => n.target).join(" ")))`

// still are pages that do not renew themselves.
var still = map[string]bool{"/program": true, "/audit": true, "/alarm-figures?days=1": true, "/due": true, "/after-shift": true, "/station/northdock/press-4/command": true, "/station/northdock/press-4/how": true, "/station/northdock/press-4/trends": true, "/backtest": true}

const pageText = `document.querySelector("main").innerText`

// visit opens an address and waits until something is visible. A browser under load can
// lose a navigation, so it is asked again.
func visit(t *testing.T, ctx context.Context, address, selector string) {
	t.Helper()
	if err := chromedp.Do(ctx); err != nil { // the tab is made, and outlives the waits below
		t.Fatal(err)
	}
	var err error
	for until := time.Now().Add(patience); time.Now().Before(until); {
		within, cancel := context.WithTimeout(ctx, 30*time.Second)
		err = chromedp.Do(within, chromedp.Navigate(address), chromedp.WaitVisible(selector))
		cancel()
		if err == nil {
			return
		}
		t.Logf("%s: %v; once more", address, err)
	}
	t.Fatalf("%s: %v", address, err)
}

// look checks that the page as it stands fits its width and that axe-core finds nothing, and keeps its picture under a name.
func look(t *testing.T, ctx context.Context, what, picture string) {
	t.Helper()
	if eval[bool](t, ctx, sideways) {
		t.Errorf("%s scrolls sideways: %s", what, eval[string](t, ctx, widest))
	}
	shot, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err != nil {
		t.Fatal(err)
	}
	keep(t, picture+".png", shot)
	eval[any](t, ctx, axe+`;null`)
	if found := eval[[]string](t, ctx, axeRun); len(found) > 0 {
		t.Errorf("%s: axe-core: %s", what, strings.Join(found, "; "))
	}
}

func view(t *testing.T, ctx context.Context, c *child, path, name string) {
	t.Helper()
	visit(t, ctx, "http://"+c.addr+path, "main")
	before := eval[string](t, ctx, pageText)
	if strings.HasSuffix(path, "span=30") {
		tracesMove(t, ctx, path)
	}
	look(t, ctx, path, strings.NewReplacer("/", "-", "?", "-").Replace(cmp.Or(strings.Trim(path, "/"), "stations")+"-"+name))
	if path == "/refused" || path == "/costs" || path == "/rig" || still[path] {
		return
	}
	for until := time.Now().Add(patience); ; time.Sleep(100 * time.Millisecond) {
		now := eval[string](t, ctx, pageText)
		if now != before {
			if !strings.Contains(now, "kPa gauge") {
				t.Errorf("%s lost its figures: %.200s", path, now)
			}
			return
		}
		if time.Now().After(until) {
			t.Fatalf("%s does not move: %.300s", path, now)
		}
	}
}

// shown is what the chart says of itself.
const shown = `(d => [Number(d.newest || 0), Number(d.strokes || 0), Number(d.points || 0)])(document.getElementById("chart").dataset)`

// tracesMove waits until the newest time of the traces has gone on several times in little
// time, so by events, with points and stroke marks on the chart.
func tracesMove(t *testing.T, ctx context.Context, path string) {
	t.Helper()
	var last float64
	var moves []time.Time
	for until := time.Now().Add(patience); ; time.Sleep(100 * time.Millisecond) {
		now := eval[[]float64](t, ctx, shown)
		if now[0] > last {
			last, moves = now[0], append(moves, time.Now())
		}
		if n := len(moves); n > 5 && moves[n-1].Sub(moves[n-6]) < 10*time.Second && now[1] > 3 && now[2] > 50 {
			return
		}
		if time.Now().After(until) {
			t.Fatalf("%s: the traces do not move: newest %.3f, %g strokes, %g points, %d moves", path, now[0], now[1], now[2], len(moves))
		}
	}
}

// keep writes a picture where somebody wants to look at it.
func keep(t *testing.T, name string, png []byte) {
	t.Helper()
	dir := os.Getenv(shotsEnv)
	if dir == "" {
		return
	}
	if err := os.WriteFile(filepath.Join(dir, name), png, 0o600); err != nil {
		t.Error(err)
	}
}
