package mqtt

import (
	"context"
	"log/slog"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// subscribe asks for all filters, and again for those that were refused, until all are
// granted or the connection ends.
func (s *Source) subscribe(ctx context.Context, client paho.Client, stop <-chan struct{}) {
	wanted, wait := s.opt.Filters, firstResubscribe
	qos := byte(1)
	if s.opt.Passing {
		qos = 0
	}
	for {
		missing, err := ask(ctx, client, wanted, qos, stop)
		switch {
		case ctx.Err() != nil || ended(stop):
			return
		case err != nil:
			s.log.Error("cannot subscribe at the broker", slog.Any("error", err), slog.Duration("retry_in", wait))
		case len(missing) == 0:
			s.update(func(f *Figures) { f.Subscribed = true })
			return
		default:
			wanted = missing
			s.log.Error("the broker refuses subscriptions: nothing is received of them; see its access rules for this user",
				slog.Any("filters", missing), slog.String("user", s.opt.User), slog.Duration("retry_in", wait))
		}
		t := time.NewTimer(wait)
		select {
		case <-t.C:
		case <-stop:
		case <-ctx.Done():
		}
		t.Stop()
		wait = min(2*wait, longestResubscribe)
	}
}

// ask subscribes and gives the filters that were refused. The answer comes in line behind
// messages, so it is waited for as long as the connection lasts.
func ask(ctx context.Context, client paho.Client, filters []string, qos byte, stop <-chan struct{}) ([]string, error) {
	wanted := make(map[string]byte, len(filters))
	for _, f := range filters {
		wanted[f] = qos
	}
	token := client.SubscribeMultiple(wanted, nil)
	select {
	case <-token.Done():
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-stop:
		return nil, nil
	}
	if err := token.Error(); err != nil {
		return nil, err
	}
	var missing []string
	result := token.(*paho.SubscribeToken).Result()
	for _, f := range filters {
		if code, ok := result[f]; ok && code == refused {
			missing = append(missing, f)
		}
	}
	return missing, nil
}

func ended(stop <-chan struct{}) bool {
	select {
	case <-stop:
		return true
	default:
		return false
	}
}
