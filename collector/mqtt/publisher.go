package mqtt

import (
	"context"
	"fmt"
	"net"
	"net/url"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// Publisher publishes messages at QoS 1, as edge sensors do: for demonstrations and
// tests. Nothing that watches a plant uses it.
type Publisher struct{ client paho.Client }

// NewPublisher connects to a broker, trying until ctx ends. The broker can do no more than answer.
func NewPublisher(ctx context.Context, broker, clientID string) (*Publisher, error) {
	o := paho.NewClientOptions().AddBroker(broker).SetClientID(clientID).SetProtocolVersion(4)
	o.SetConnectRetry(true).SetConnectRetryInterval(time.Second).SetConnectTimeout(connectTimeout)
	o.SetCustomOpenConnectionFn(func(u *url.URL, _ paho.ClientOptions) (net.Conn, error) {
		return dialAnswers(context.Background(), (&net.Dialer{}).DialContext, nil, u)
	})
	c := paho.NewClient(o)
	t := c.Connect()
	select {
	case <-ctx.Done():
		c.Disconnect(0)
		return nil, fmt.Errorf("cannot connect to broker %s: %w", broker, ctx.Err())
	case <-t.Done():
	}
	if err := t.Error(); err != nil {
		return nil, fmt.Errorf("cannot connect to broker %s: %w", broker, err)
	}
	return &Publisher{c}, nil
}

// Publish publishes a message and waits until the broker has it.
func (p *Publisher) Publish(ctx context.Context, topic string, payload []byte) error {
	t := p.client.Publish(topic, 1, false, payload)
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.Done():
		if err := t.Error(); err != nil {
			return fmt.Errorf("cannot publish to %s: %w", topic, err)
		}
		return nil
	}
}

// Send publishes a message without waiting for the broker; the token tells when it has
// it.
func (p *Publisher) Send(topic string, payload []byte) paho.Token {
	return p.client.Publish(topic, 1, false, payload)
}

// Close leaves the broker.
func (p *Publisher) Close() { p.client.Disconnect(100) }
