package samplelog

import (
	"cmp"
	"fmt"

	"strokewise/analyzer/station"
)

// UsualPrefix begins the names of a log for which none is set.
const UsualPrefix = "sw"

// usualNames are those of a log for which no prefix is set.
var usualNames = namesOf("")

// names are what a log is called at its server. Logs with different prefixes share a server
// without knowing of each other.
type names struct {
	prefix, stream, lease, told string
}

// namesOf derives the names from a prefix of letters, digits, - and _. Those of the usual prefix
// are older than prefixes are.
func namesOf(prefix string) names {
	p := cmp.Or(prefix, UsualPrefix)
	n := names{prefix: p, stream: p + "_v1_samples", lease: p + "_v1_lease", told: p + "_v1_told"}
	if p == UsualPrefix {
		n.stream = "SAMPLES"
	}
	return n
}

// all returns the subjects of all partitions. The server stores nothing under others.
func (n *names) all() []string {
	out := make([]string, station.Partitions)
	for p := range out {
		out[p] = n.subject(p)
	}
	return out
}

// subject returns that of a partition.
func (n *names) subject(partition int) string {
	return fmt.Sprintf("%s.v1.samples.%d", n.prefix, partition)
}
