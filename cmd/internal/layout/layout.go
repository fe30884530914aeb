// Package layout holds the rules of the source tree: who may import whom, and what the
// pure core must not touch. Its tests walk the tree and print the reason for each ban.
package layout

import "strings"

// rule bans imports of some packages in a part of the tree.
type rule struct {
	where  []string // folders, with everything below
	except []string // of them
	banned []string // import paths; a trailing slash bans everything below
	allow  []string // of the banned
	tests  bool     // also in test files
	why    string
}

// pure are the folders that compute and do nothing else.
var pure = []string{"analyzer", "rules"}

// rules are the bans, each with its reason.
var rules = []rule{
	{where: []string{"analyzer/station"}, banned: []string{"strokewise/"}, allow: []string{"strokewise/analyzer/station"}, tests: true,
		why: "analyzer/station is the leaf that everybody shares: it depends on the standard library alone"},
	{where: []string{"analyzer"}, banned: []string{"strokewise/collector/", "strokewise/rules", "strokewise/dashboards/", "strokewise/cmd/"},
		why: "the analyzer knows samples and nothing of where they come from or who reads its results"},
	{where: []string{"rules"}, except: []string{"rules/notify", "rules/performance"}, banned: []string{"strokewise/"}, allow: []string{"strokewise/analyzer/station"},
		why: "rules know estimates, never detectors, databases or networks"},
	{where: []string{"rules/performance"}, banned: []string{"strokewise/"}, allow: []string{"strokewise/analyzer/station", "strokewise/rules"},
		why: "how alarms do is told from their transitions alone"},
	{where: []string{"rules/notify"}, banned: []string{"strokewise/"}, allow: []string{"strokewise/analyzer/station", "strokewise/rules", "strokewise/rules/notify/egress"},
		why: "sending knows alarms; what is sent waits in an outbox behind an interface declared here"},
	{where: []string{"rules/notify/egress"}, banned: []string{"strokewise/"},
		why: "the one answer to where the program may send is shared by all who send: it knows none of them"},
	{where: []string{"collector"}, banned: []string{"strokewise/rules", "strokewise/dashboards/", "strokewise/cmd/", "strokewise/analyzer/"}, allow: []string{"strokewise/analyzer/station"},
		why: "the collector brings samples in and concludes nothing"},
	{where: []string{"collector/rig"}, banned: []string{"strokewise/analyzer/air"}, tests: true,
		why: "the virtual stations have their own physics: shared physics would cancel shared errors"},
	{where: []string{"dashboards"}, banned: []string{"strokewise/collector/", "strokewise/cmd/"},
		why: "dashboards show what was concluded, not how it came in"},
	{where: []string{"dashboards/live"}, banned: []string{"strokewise/"}, allow: []string{"strokewise/analyzer/station"},
		why: "the rings are written on the hot path: they know samples, strokes and states, and nothing of who shows them"},
	{where: []string{"analyzer", "rules", "collector", "dashboards", "deploy"}, banned: []string{"strokewise/cmd/"}, tests: true,
		why: "cmd wires everything, so nobody imports it"},
	{where: []string{"analyzer", "rules", "dashboards", "cmd", "deploy"}, banned: []string{"github.com/eclipse/", "github.com/nats-io/"},
		why: "only the collector touches MQTT and the log's server"},
	{where: []string{"analyzer", "rules", "collector", "cmd", "deploy"}, banned: []string{"github.com/prometheus/", "github.com/influxdata/", "modernc.org/"},
		allow: []string{"github.com/influxdata/line-protocol/v2/lineprotocol"}, // reads bytes, and knows no server
		why:   "only dashboards touch metrics clients and the database"},
	{where: []string{"analyzer", "collector"}, except: []string{"collector/mqtt"}, banned: []string{"net/http", "database/sql"},
		why: "only dashboards serve pages and read the database"},
	{where: pure, except: []string{"rules/notify"}, banned: []string{"os", "os/exec", "net", "net/http", "log", "log/slog", "io/fs", "database/sql", "sync", "sync/atomic", "context", "math/rand", "math/rand/v2", "syscall"},
		why: "analyzer and rules are pure: no files, network, logs, chance or goroutines, so that live, replayed and restored runs agree"},
}

// impure are names that the pure core must not use, with the package that has them.
var impure = map[string][]string{
	"time": {"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "NewTimer", "NewTicker", "Tick", "Local"},
	"fmt":  {"Print", "Printf", "Println", "Scan", "Scanf", "Scanln"},
}

// within tells whether a folder is one of the list or below one.
func within(dir string, list []string) bool {
	for _, l := range list {
		if dir == l || strings.HasPrefix(dir, l+"/") {
			return true
		}
	}
	return false
}

// covers tells whether the rule speaks of a folder.
func (r *rule) covers(dir string) bool { return within(dir, r.where) && !within(dir, r.except) }

// bans tells whether the rule bans an import path.
func (r *rule) bans(path string) bool {
	for _, a := range r.allow {
		if path == a {
			return false
		}
	}
	for _, b := range r.banned {
		if path == strings.TrimSuffix(b, "/") || strings.HasSuffix(b, "/") && strings.HasPrefix(path, b) || path != b && !strings.HasSuffix(b, "/") && strings.HasPrefix(b, "strokewise/") && strings.HasPrefix(path, b+"/") {
			return true
		}
	}
	return false
}
