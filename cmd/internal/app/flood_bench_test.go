package app

import (
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"strokewise/collector/mqtt"
	"strokewise/deploy/peers"
)

// BenchmarkFlood is how long a sound message of 100 samples takes through Mosquitto into the log, beside
// none, and beside ten refused ones of 600 bytes.
func BenchmarkFlood(b *testing.B) {
	for name, garbage := range map[string]int{"calm": 0, "flood": 10} {
		b.Run(name, func(b *testing.B) {
			broker := peers.Mosquitto(b)
			a, stop := running(b, options(b, broker.Addr, "press-4"))
			defer stop()
			p, err := mqtt.NewPublisher(b.Context(), "tcp://"+broker.Addr, "sensors")
			if err != nil {
				b.Fatal(err)
			}
			defer p.Close()
			began, n := time.Now(), 0
			b.ResetTimer()
			for b.Loop() {
				var tokens []paho.Token
				for range 100 {
					n++
					tokens = append(tokens, p.Send("boost/northdock/press-4/outlet_pressure", hundred(began.Add(-time.Hour+time.Duration(n)*time.Second/50))))
				}
				for len(tokens) > 0 {
					tokens[0].Wait()
					tokens = tokens[1:]
				}
				if garbage > 0 {
					ghosts(b, broker.Addr, 100*garbage)
				}
				for a.batch.Figures().Samples < int64(n)*100 || a.received().Received < int64(n*(1+garbage)) || a.batch.Figures().Queue > 0 {
					time.Sleep(time.Millisecond)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(n), "µs/sound-message")
		})
	}
}
