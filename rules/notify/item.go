// Package notify sends alarm transitions to people's systems. It stands outside the
// pure core: it has a clock, goroutines and network connections. What is to be sent
// waits in an outbox, in the order in which it was concluded, until it was delivered.
package notify

import (
	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Item is a transition on its way to a receiver.
type Item struct {
	ID         int64 // of the item in the outbox
	Receiver   string
	Attempts   int             // failed ones so far
	LastError  string          // of the newest attempt, for people
	Due        station.Instant // until when it was put off, 0: never
	Transition rules.Transition
}
