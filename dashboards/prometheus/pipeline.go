package prometheus

import (
	"runtime"
	"strconv"

	"strokewise/dashboards/board"
)

// Families of the way from message to commit.
var (
	buildInfo = gauge("build_info", "Version of the program and of the Go it was built with; always 1.", "version", "goversion")

	messages      = counter("messages_total", "MQTT messages received, refused ones included.")
	samples       = counter("samples_total", "Samples accepted into the log.")
	refused       = counter("payloads_refused_total", "Payloads refused, by reason.", "reason")
	connected     = gauge("mqtt_connected", "1 while connected to the MQTT broker, to all where there are several, else 0.")
	reconnects    = counter("mqtt_reconnects_total", "Connections to the MQTT broker after the first.")
	oneConnected  = gauge("broker_connected", "1 while connected to the broker, or to one of its list, else 0.", "broker")
	oneReconnects = counter("broker_reconnects_total", "Connections to the broker, or to one of its list, after the first.", "broker")
	oneMessages   = counter("broker_messages_total", "MQTT messages received from the broker.", "broker")
	queue         = gauge("queue_messages", "Messages waiting for the log.")
	queueCap      = gauge("queue_capacity", "Messages that can wait for the log.")

	logEntries  = counter("log_entries_total", "Entries appended to the sample log.")
	logSeconds  = counter("log_append_seconds_total", "Time that appending entries to the sample log took, summed over partitions, with fsync where log.sync is always. Divide by log_entries_total.")
	logBytes    = gauge("log_bytes", "Bytes stored in the sample log.")
	logMaxBytes = gauge("log_max_bytes", "Bytes that the sample log may hold.")
	logFull     = gauge("log_full", "1 while the sample log refuses new entries, else 0.")
	quarantined = gauge("stations_quarantined", "Stations that a fault of the program keeps from being watched: treat them as unknown.")
	lateWaiting = gauge("late_records_waiting", "Records of samples that came late, from a gateway's buffer, and are not worked off yet.")
	lateMinutes = counter("late_rebuilt_total", "Minutes that samples which came late have rebuilt since the start.")
	lateLost    = counter("late_samples_lost_total", "Samples that came late and could not be worked off since the start.")
	logBad      = counter("log_unreadable_total", "Entries of the sample log that cannot be read: none of this program's, or damaged. They are passed and kept.")
	logGaps     = counter("log_gaps_total", "Places found where the sample log's files no longer hold an entry: damage, samples lost.")
	logBehind   = gauge("log_behind_entries", "Entries of the partition that are not analysed yet.", "partition")

	commits       = counter("commits_total", "Commits to the history database.")
	commitSum     = counter("commit_seconds_total", "Time that commits to the history database took, with fsync where log.sync is always. Divide by commits_total.")
	commitSeconds = gauge("commit_duration_seconds", "Duration of the newest commit.")
	commitAge     = gauge("commit_age_seconds", "Time that the oldest of what the partitions have to commit has waited, entries of the log included that a partition does not work off; 0 while nothing waits.")
	snapshotAge   = gauge("snapshot_age_seconds", "Time since the oldest of the partitions' newest snapshots.")

	outbox    = gauge("outbox_pending", "Notifications waiting to be delivered.", "receiver")
	outboxAge = gauge("outbox_oldest_age_seconds", "Time since the oldest of the notifications that wait was concluded; in a mail digest it waits up to a day.", "receiver")
	delivered = counter("notifications_delivered_total", "Notifications delivered.", "receiver")
	failed    = counter("notifications_failed_total", "Attempts to deliver a notification that failed.", "receiver")
	withheld  = counter("notifications_withheld_total", "Notifications not told because of routes or maintenance.", "receiver")
)

func (s sink) build(version string) { s.put(buildInfo, 1, label(version), runtime.Version()) }

// pipeline sends the pipeline's figures. Durations and ages are left out before the
// first commit and snapshot.
func (s sink) pipeline(p *board.Pipeline) {
	s.put(messages, float64(p.Messages))
	s.put(samples, float64(p.Samples))
	s.each(refused, p.Refused)
	s.put(connected, number(p.Connected))
	s.put(reconnects, float64(p.Reconnects))
	for _, b := range p.Brokers {
		s.put(oneConnected, number(b.Connected), label(b.Name))
		s.put(oneReconnects, float64(b.Reconnects), label(b.Name))
		s.put(oneMessages, float64(b.Messages), label(b.Name))
	}
	s.put(queue, float64(p.Queue))
	s.put(queueCap, float64(p.QueueCap))

	s.put(logEntries, float64(p.LogEntries))
	s.put(logSeconds, p.LogSeconds)
	s.put(logBytes, float64(p.LogBytes))
	s.put(logMaxBytes, float64(p.LogMaxBytes))
	s.put(logFull, number(p.LogFull))
	s.put(logGaps, float64(p.LogGaps))
	s.put(quarantined, float64(p.Quarantined))
	s.put(lateWaiting, float64(p.LateWaiting))
	s.put(lateMinutes, float64(p.LateMinutes))
	s.put(lateLost, float64(p.LateLost))
	s.evidence(&p.Evidence)
	s.put(logBad, float64(p.LogUnreadable))
	for i, n := range p.Behind {
		s.put(logBehind, float64(n), strconv.Itoa(i))
	}

	s.put(commits, float64(p.Commits))
	s.put(commitSum, p.CommitSum)
	s.put(commitAge, p.CommitAge)
	if p.Commits > 0 {
		s.put(commitSeconds, p.CommitSeconds)
	}
	if p.SnapshotAge > 0 {
		s.put(snapshotAge, p.SnapshotAge)
	}
	s.each(outbox, p.OutboxPending)
	for name, age := range p.OutboxAge {
		s.put(outboxAge, age, label(name))
	}
	s.each(delivered, p.Delivered)
	s.each(withheld, p.Withheld)
	s.each(failed, p.DeliverFailed)
	s.export(p.Export)
	s.program(p)
	s.letters(p)
}

// each sends one series an entry; the key is the label.
func (s sink) each(f *family, m map[string]int64) {
	for k, v := range m {
		s.put(f, float64(v), label(k))
	}
}
