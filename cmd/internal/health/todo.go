package health

import "strings"

// todo is what to do first where a part does not work, by its name or by what its name begins with
// before the last "-".
var todo = map[string]string{
	"broker":        "Start the broker; check address, certificate and password in mqtt. The log line names the error.",
	"sample-log":    "Look at the disk of the data folder, or at the servers of log.url: a majority of them must run. A full log is named as such: raise log.max_bytes.",
	"history":       "Free disk space; end what holds history.db locked. A damaged file needs a backup: strokewise restore.",
	"writer":        "Read its reason; then look at history and sample-log, which it depends on. Start the program again if it alone stands.",
	"headers":       "Look at history first; start the program again if it alone stands.",
	"refused":       "Open Refused messages: it names topics, reasons and what to mend.",
	"late-samples":  "Look at history and sample-log, which it depends on. What came late stays in the log and is tried again.",
	"evidence":      "What is lost cannot be had back. Check the disk; give the log more room with log.max_bytes.",
	"clock":         "Compare this machine's clock with a watch, then mend its time service.",
	"lease":         "Find the other process that writes to the same log, and stop one of them.",
	"station":       "Report the fault with the input that was kept. The other stations go on.",
	"notifications": "Look at history first, where they wait; start the program again if it alone stands.",
	"receiver":      "Try the receiver's address by hand (strokewise notify test); what it answered stands in the log. Tell people in another way meanwhile.",
	"panel":         "Check the broker of the panel; the lights say unknown meanwhile.",
	"dead-man":      "Check the address of notify.dead_man: while it is not reached, nobody would notice that this program stops.",
	"export":        "Start the export's server; what waits longer than influx.keep is given up.",
	"snapshots":     "Free disk space. Nothing is lost, but the next start takes longer.",
	"trim":          "Look at sample-log and the disk: the log grows while it is not trimmed.",
	"retention":     "Free disk space; the history grows while nothing is deleted from it.",
	"audit":         "Free disk space: what people do is done, and not written down in the trail.",
	"logins":        "Run strokewise user list --users FILE: it names the fault of the users file. Free disk space if logins cannot be stored.",
	"configuration": "Run strokewise check --config FILE: it names every fault with its line. Mend the file and reload.",
	"pages":         "Start the program again: it no longer serves pages and metrics.",
}

// Todo returns what to do first where a part does not work.
func Todo(part string) string {
	if text, ok := todo[part]; ok {
		return text
	}
	kind, _, _ := strings.Cut(part, "-")
	return todo[kind]
}
