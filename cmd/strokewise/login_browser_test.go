package main

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"strokewise/collector/playback"
	"strokewise/deploy/peers"
)

const (
	sideways = `document.documentElement.scrollWidth > document.documentElement.clientWidth`
	// tooSmall are the controls of the form that a thumb in a glove would miss.
	tooSmall = `[...document.querySelectorAll("main form input:not([type=hidden]), main form select, main form button")].filter(e => e.getBoundingClientRect().height < 56).map(e => e.name || e.innerText)`
	fillIn   = `(f => { f.querySelector("[name=name]").value = "ana"; f.querySelector("[name=password]").value = %q; f.querySelector("button").click() })(document.querySelector("form.login"))`
	presses  = `document.querySelector("[data-part=condition] form button[value=acknowledge]").click()`
	logsOut  = `document.querySelector("form.login button:not([name])").click()`
	hasLogin = `!!document.querySelector("form.login [name=password]")`
)

// On a screen of 360 px somebody logs in, acknowledges an alarm and logs out; nothing scrolls
// sideways, and every control is as large as a thumb in a glove.
func TestLoginAcknowledgeLogoutOnAPhone(t *testing.T) {
	browser := peers.Browser(t)
	p := startLocked(t, false, "")
	playAll(t, p.broker, time.Now().Truncate(time.Hour).Add(-time.Hour), 0)
	ctx, cancel := chromedp.NewContext(browser)
	defer cancel()
	var w watch
	go w.listen(ctx)
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(360, 740), scheme("light")); err != nil {
		t.Fatal(err)
	}
	fits := func(name string) {
		t.Helper()
		if list := eval[[]string](t, ctx, tooSmall); len(list) > 0 {
			t.Errorf("%s: too small: %s", name, strings.Join(list, ", "))
		}
		look(t, ctx, name, name+"-360")
	}
	page := "/station/" + playback.Site + "/clamp-3?span=30"
	visit(t, ctx, "http://"+p.addr+page, "form.login")
	fits("login")
	eval[any](t, ctx, strings.Replace(fillIn, "%q", `"`+panelPassword+`"`, 1))
	until(t, ctx, "the login leads back to the station", `location.pathname + location.search === "`+page+`"`)
	until(t, ctx, "there is an alarm to acknowledge", `!!document.querySelector("[data-part=condition] form button[value=acknowledge]")`)
	fits("station")
	eval[any](t, ctx, presses)
	until(t, ctx, "the page says what was done", `!!document.querySelector(".done") && document.querySelector(".done").innerText.includes("by ana")`)
	visit(t, ctx, "http://"+p.addr+"/account", "form.login")
	fits("account")
	eval[any](t, ctx, logsOut)
	until(t, ctx, "the logout leads to the login", hasLogin)
	visit(t, ctx, "http://"+p.addr+page, "form.login")
	if at := eval[string](t, ctx, "location.search"); at != "?next="+url.QueryEscape(page) {
		t.Errorf("after the logout the station's page leads to %s", at)
	}
	if wrong := w.said(); len(wrong) > 0 {
		t.Errorf("the browser complains: %s", strings.Join(wrong, "; "))
	}
}
