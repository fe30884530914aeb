package peers

import (
	"context"
	"os"
	"testing"

	"github.com/chromedp/chromedp"
)

// Browser starts a headless Chromium with a fresh profile; the context is that of its
// first tab.
func Browser(t testing.TB) context.Context {
	t.Helper()
	bin := Find(t, "chromium")
	opts := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(bin), chromedp.Flag("disable-gpu", true), chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true))
	if os.Getuid() == 0 {
		opts = append(opts, chromedp.NoSandbox)
	}
	alloc, stop := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(func() {
		_ = chromedp.Cancel(ctx) // closes the browser and waits for it
		cancel()
		stop()
	})
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatalf("cannot start the browser: %v", err)
	}
	return ctx
}
