package station

// Command is something a person did or said, kept in the log so that a replay gives
// the same states. What alarms and intervals depend on has a field of its own; Note is
// for people alone.
type Command struct {
	Kind  string // one of rules.Commands
	Alarm string
	By    string
	Note  string  // the person's own words: a reason, what was done, which gauge was read
	Until Instant // end of a shelving or of declared work, zero where it has none

	Cause    Cause       // of "close"
	Service  ServiceKind // of "done"
	Date     string      // of "done": the day, as in 2026-01-10
	Document string      // of "done" and "inspected": the reference of the document
}
