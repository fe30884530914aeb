package main

import (
	"context"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"strokewise/deploy/peers"
)

const (
	ownStream = `document.documentElement.dataset.stream === "own"`
	outdated  = `document.getElementById("outdated").hidden === false`
)

// until waits until an expression is true in the page.
func until(t *testing.T, ctx context.Context, what, expression string) {
	t.Helper()
	for late := time.Now().Add(patience); !eval[bool](t, ctx, expression); time.Sleep(100 * time.Millisecond) {
		if time.Now().After(late) {
			t.Fatalf("never: %s", what)
		}
	}
}

// Two tabs share one stream; when the tab that has it closes, the other takes over. When
// the program ends, the page says that it is out of date.
func TestTabsShareAStream(t *testing.T) {
	browser := peers.Browser(t)
	c := start(t, "demo", "--no-past", "--data", t.TempDir(), "--listen", "127.0.0.1:0")
	c.ready()
	tab := func() (context.Context, func()) {
		ctx, cancel := chromedp.NewContext(browser)
		t.Cleanup(cancel)
		visit(t, ctx, "http://"+c.addr+"/station/northdock/press-4?span=30", "main")
		return ctx, cancel
	}
	first, closeFirst := tab()
	until(t, first, "the first tab has a stream", ownStream)
	tracesMove(t, first, "the first tab")
	second, _ := tab()
	tracesMove(t, second, "the second tab")
	if !eval[bool](t, first, ownStream) || eval[bool](t, second, ownStream) {
		t.Error("the second tab has a stream beside the first one's")
	}
	closeFirst()
	until(t, second, "the second tab takes over", ownStream)
	tracesMove(t, second, "the second tab")
	c.kill()
	until(t, second, "the page says that it is out of date", outdated)
}
