package notify

import (
	"context"
	"errors"
	"net/http/httptest"
	"sync/atomic"
	"testing"
)

// While the sender may not speak nothing is sent, and nothing counts as failed or put off; then
// everything is sent. Neither is a delivery a failure that ended because it might not go on.
func TestSendsOnlyWhileItMay(t *testing.T) {
	h := &hook{}
	srv := httptest.NewServer(h)
	defer srv.Close()
	b := newBox("phone", "outlet-leak", "signal-lost")
	s := New(b, []Webhook{{Name: "phone", URL: srv.URL}}, nil)
	var may atomic.Bool
	var asked atomic.Int64
	s.Only(func() error {
		if asked.Add(1); may.Load() {
			return nil
		}
		return errors.New("not now")
	})
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { s.Run(ctx); close(done) }()
	defer func() { cancel(); <-done }()
	await(t, s, "two looks", func() bool { return asked.Load() >= 2 })
	if n := len(h.events()); n != 0 {
		t.Errorf("%d events were sent", n)
	}
	may.Store(true)
	await(t, s, "what waited", func() bool { return b.left() == 0 })
	if _, failed := s.Figures(); failed["phone"] != 0 {
		t.Errorf("%d failures", failed["phone"])
	}
}
