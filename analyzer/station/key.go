// Package station holds the domain types that every other package shares: keys,
// channels, samples, plate data, estimates, states and summaries. It is the leaf of
// the import graph and depends on the standard library only.
package station

import "hash/fnv"

// Partitions is the fixed number of log partitions. It cannot change without
// rewriting the log, because a station's samples must stay in one order.
const Partitions = 16

// Key names a station: the site it belongs to and its identifier within the site.
type Key struct {
	Site    string
	Station string
}

// String gives "site/station", for logs and messages.
func (k Key) String() string { return k.Site + "/" + k.Station }

// Partition gives the log partition of the station, 0..Partitions-1: FNV-1a over
// site, a zero byte and station. Part of the log format.
func (k Key) Partition() int {
	h := fnv.New32a()
	h.Write([]byte(k.Site))
	h.Write([]byte{0})
	h.Write([]byte(k.Station))
	return int(h.Sum32() % Partitions)
}
