package board

import "strokewise/analyzer/station"

// Pipeline holds the figures of the way from message to commit, over the life of the
// process. Maps and slices must not be changed by the reader.
type Pipeline struct {
	Connected  bool     // to the MQTT broker
	Reconnects int64    // after the first connection
	Messages   int64    // received, refused ones included
	Reloads    *Reloads // nil: they are not counted
	Samples    int64    // accepted into the log
	Refused    map[string]int64
	Queue      int // messages waiting for the log
	QueueCap   int

	LogEntries    int64   // appended
	LogSeconds    float64 // that appending them took, summed over partitions, fsync included where sync is always
	LogBytes      int64   // stored
	LogMaxBytes   int64
	LogFull       bool
	LogGaps       int64 // found since the start where the log no longer holds an entry
	LogUnreadable int64 // entries passed since the start because they cannot be read
	Evidence      Evidence
	Behind        [station.Partitions]uint64 // log positions between the newest entry and the analyzer's

	Commits       int64
	CommitSeconds float64 // duration of the newest
	CommitSum     float64 // s that all of them took, fsync included where sync is always
	CommitAge     float64 // s that the oldest of what the partitions have to commit has waited, 0: nothing waits
	SnapshotAge   float64 // s since the oldest of the partitions' newest snapshots, 0: none yet

	OutboxPending map[string]int64   // by receiver
	OutboxAge     map[string]float64 // s since the oldest that waits was concluded, by receiver; absent: none waits
	Delivered     map[string]int64   // by receiver
	DeliverFailed map[string]int64   // attempts, by receiver
	Withheld      map[string]int64   // not told because of routes or maintenance, by receiver

	Quarantined int // stations that a fault of the program keeps from being watched

	Brokers []Broker // the connections to them

	LateWaiting int64 // records with samples that came late and are not worked off yet
	LateMinutes int64 // that late samples rebuilt since the start
	LateLost    int64 // late samples that could not be worked off since the start

	Export *Export // nil: nothing is exported

	RefusedRatio   float64            // of the usual messages of five minutes that were refused, NaN: too few came to tell
	AnswerAge      map[string]float64 // s since log, history and others answered for the figures, by whom
	Ready          bool
	Parts          []Part
	ClockDoubted   bool  // our own clock is, at present
	ClockDoubts    int64 // times that it came to be
	Waiting        int64 // messages that wait for our clock, or for older ones of their station
	RefusedKept    int64 // refused messages stored
	RefusedLost    int64 // that could not be stored
	RefusedDropped int64 // the oldest, to make room
}

// Part is how a part of the program does.
type Part struct {
	Name   string
	Level  string // works, doubtful or fails
	Reason string // empty while it works
	Since  station.Instant
	Todo   string // what to do first where it does not work
}

// Export holds the figures of the export to a database of time series.
type Export struct {
	Pending int64            // rows that wait
	Age     float64          // s since the oldest of them was concluded, 0: none waits
	Points  int64            // taken by the server
	Failed  int64            // requests that did not succeed
	Dropped map[string]int64 // rows given up, by reason
}

// Reloads are what became of the readings of the configuration.
type Reloads struct {
	Good    bool            // the newest one was taken
	At      station.Instant // when the one in force was taken, the start included
	Taken   int64
	Refused int64
}

// RefusedSum is what is kept of refused messages under a reason.
type RefusedSum struct {
	Reason         string
	Messages       int64
	Bytes          int64
	Oldest, Newest station.Instant // arrivals
}

// Refused is a payload that was turned away, kept for the person who must find the
// sensor.
type Refused struct {
	At      station.Instant
	Topic   string // shortened
	Reason  string // a label of the refused counter
	Detail  string // what was expected and what to do
	Payload string // its beginning, quoted where it is not printable
	Size    int    // bytes of the whole payload
}

// Broker is the connection to a broker, or to one of a list.
type Broker struct {
	Name       string
	Connected  bool
	Reconnects int64
	Messages   int64
}
