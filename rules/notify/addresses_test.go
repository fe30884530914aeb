package notify

import (
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"sync/atomic"
	"testing"

	"strokewise/rules/notify/egress"
)

// A webhook goes to no address beside the list, nor where a receiver's answer redirects to.
func TestAWebhookStaysWhereItMayBe(t *testing.T) {
	var elsewhere atomic.Int64
	other := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { elsewhere.Add(1) }))
	defer other.Close()
	h := httptest.NewServer(http.RedirectHandler(other.URL, http.StatusTemporaryRedirect))
	defer h.Close()
	for to, says := range map[string]string{h.URL: "307", strings.Replace(other.URL, "127.0.0.1", "127.0.0.2", 1): "leads to 127.0.0.2"} {
		list := egress.Addresses{netip.MustParsePrefix("127.0.0.1/32")}
		w := &Webhook{Name: "x", URL: to, Client: NewClient(list.Dialer().DialContext), Header: http.Header{"Authorization": {"Bearer x"}}}
		if _, err := w.Test(t.Context()); err == nil || !strings.Contains(err.Error(), says) || elsewhere.Load() != 0 {
			t.Errorf("%s: %v, %d elsewhere", to, err, elsewhere.Load())
		}
		w.Close()
	}
}
