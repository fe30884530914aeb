package mqtt

import "log/slog"

// Ask publishes a question to a sender at QoS 0, on the present connection if there is one, and waits for
// nobody: a question that is lost is asked again.
func (s *Source) Ask(topic string, data []byte) {
	s.mu.Lock()
	client := s.client
	s.mu.Unlock()
	if client == nil {
		return
	}
	client.Publish(topic, 0, false, data)
	s.log.Info("asked a sender", slog.String("topic", topic))
}
