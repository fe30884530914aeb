package app

import (
	"cmp"
	"context"

	"strokewise/cmd/internal/health"
	"strokewise/collector/mqtt"
	"strokewise/dashboards/board"
)

// MainBroker is the usual name of the broker of Options.MQTT.
const MainBroker = "main"

// Broker is one more broker, or a list of which one is used.
type Broker struct {
	Name string
	Site string // of topics that name none, "": the usual
	MQTT mqtt.Options
}

// source is the connection to a broker, or to one of a list.
type source struct {
	*mqtt.Source
	name    string
	address string
}

// openSources makes a connection manager for each broker. They share intake and batcher: while the log takes nothing none
// of them is acknowledged.
func (a *App) openSources() error {
	list := append([]Broker{{cmp.Or(a.opt.MQTTName, MainBroker), a.opt.MQTTSite, a.opt.MQTT}}, a.opt.Brokers...)
	for _, b := range list {
		m := b.MQTT
		if len(m.Brokers) == 0 { // nothing is configured yet
			continue
		}
		m.Filters, m.Logger = a.intake.Filters(), a.log
		m.Handle = func(ctx context.Context, msg mqtt.Message) { a.take(ctx, msg, b.Site) }
		m.OnTooLarge = func(topic string, size int64) { a.tooLarge(topic, size, b.Site) }
		if len(list) > 1 {
			m.Logger = a.log.With("broker_name", b.Name)
		}
		s, err := mqtt.New(m)
		if err != nil {
			return err
		}
		a.sources = append(a.sources, source{s, b.Name, addresses(&m)})
	}
	return nil
}

// ask puts a question to a sender at every broker: whose it is does not follow from the topic.
func (a *App) ask(topic string, data []byte) {
	for _, s := range a.sources {
		s.Ask(topic, data)
	}
}

// received returns the figures of all connections together: connected and subscribed where all are.
func (a *App) received() (f mqtt.Figures) {
	f.Connected, f.Subscribed = len(a.sources) > 0, len(a.sources) > 0
	for _, s := range a.sources {
		g := s.Figures()
		f.Connected, f.Subscribed = f.Connected && g.Connected, f.Subscribed && g.Subscribed
		f.Reconnects += g.Reconnects
		f.Received += g.Received
		f.TooLarge += g.TooLarge
	}
	return f
}

func (a *App) brokerFigures() []board.Broker {
	out := make([]board.Broker, len(a.sources))
	for i, s := range a.sources {
		f := s.Figures()
		out[i] = board.Broker{Name: s.name, Connected: f.Connected, Reconnects: f.Reconnects, Messages: f.Received + f.TooLarge}
	}
	return out
}

// part returns the name of the connection's part.
func (s *source) part() string {
	if s.name == MainBroker {
		return "broker"
	}
	return "broker-" + s.name
}

// look reports the connection.
func (s *source) look(p *health.Part) {
	switch f := s.Figures(); {
	case f.Doubled != "":
		p.Fails("the broker %s keeps ending our connection: %s", s.address, f.Doubled)
	case !f.Connected:
		p.Fails("not connected to the broker %s", s.address)
	case !f.Subscribed:
		p.Fails("the broker has not confirmed the subscription")
	default:
		p.Works()
	}
}
