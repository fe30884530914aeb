package web

import (
	"cmp"
	"maps"
	"slices"

	"strokewise/dashboards/board"
)

// refusedView is the page of refused payloads.
type refusedView struct {
	Root    string
	Version string
	Problem string // why what is kept cannot be shown
	Reasons []reasonView

	FirstRun bool // the reader may listen to brokers
}

// reasonView holds what was refused for one reason.
type reasonView struct {
	Reason string
	Total  string
	Stored string        // what is on disk; "": nothing
	Kept   []payloadView // newest first
}

type payloadView struct{ At, Topic, Detail, Payload, Size string }

// refusals builds the page: reasons with the highest count first.
func refusals(kept []board.Refused, counts map[string]int64, version string) refusedView {
	by := map[string][]board.Refused{}
	for reason := range counts {
		by[reason] = nil
	}
	for _, r := range kept {
		by[r.Reason] = append(by[r.Reason], r)
	}
	total := func(reason string) int64 { return max(counts[reason], int64(len(by[reason]))) }
	names := slices.SortedFunc(maps.Keys(by), func(a, b string) int {
		return cmp.Or(cmp.Compare(total(b), total(a)), cmp.Compare(a, b))
	})
	v := refusedView{Version: version}
	for _, name := range names {
		if n := total(name); n > 0 {
			v.Reasons = append(v.Reasons, reasonView{Reason: name, Total: plural(int(n), "message"), Kept: payloads(by[name])})
		}
	}
	return v
}

// keep adds what is kept of each reason.
func (v *refusedView) keep(sums []board.RefusedSum) {
	for _, m := range sums {
		i := slices.IndexFunc(v.Reasons, func(r reasonView) bool { return r.Reason == m.Reason })
		if i < 0 {
			v.Reasons = append(v.Reasons, reasonView{Reason: m.Reason, Total: "0 messages"})
			i = len(v.Reasons) - 1
		}
		v.Reasons[i].Stored = plural(int(m.Messages), "message") + " on disk, from " + clock(m.Oldest) + " to " + clock(m.Newest)
	}
}

func payloads(list []board.Refused) []payloadView {
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(a, b board.Refused) int { return cmp.Compare(b.At, a.At) })
	views := make([]payloadView, 0, len(list))
	for _, r := range list {
		views = append(views, payloadView{clock(r.At), r.Topic, r.Detail, r.Payload, plural(r.Size, "byte")})
	}
	return views
}
