package mqtt

import (
	"context"
	"errors"
	"net"
	"sync/atomic"
	"testing"

	"strokewise/deploy/peers"
)

// muted is a connection that writes nothing any more once it is told so.
type muted struct {
	net.Conn
	mute *atomic.Bool
}

func (c muted) Write(p []byte) (int, error) {
	if c.mute.Load() {
		return 0, errors.New("muted")
	}
	return c.Conn.Write(p)
}

// Where the writer may not speak any more it leaves no farewell and changes no light; the broker tells its
// will, so that the heartbeat says that the lights mean nothing.
func TestAMutedPanelLeavesTheLightsAlone(t *testing.T) {
	broker := "tcp://" + peers.Mosquitto(t).Addr
	var mute atomic.Bool
	l := &lights{}
	l.set(map[string]string{lightTopic: "high"})
	r := retainedOf(broker, l.get)
	r.opt.Dial = func(ctx context.Context, network, address string) (net.Conn, error) {
		if mute.Load() {
			return nil, errors.New("muted")
		}
		c, err := (&net.Dialer{}).DialContext(ctx, network, address)
		return muted{c, &mute}, err
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { r.Run(ctx); close(done) }()
	await(t, "the heartbeat", func() bool { return retainedAt(t, broker)[heartTopic] == "running" })
	mute.Store(true)
	l.set(map[string]string{lightTopic: "normal"})
	await(t, "the will", func() bool { return retainedAt(t, broker)[heartTopic] == "unknown" })
	cancel()
	<-done
	if got := retainedAt(t, broker); got[lightTopic] != "high" {
		t.Errorf("the broker keeps %v", got)
	}
}
