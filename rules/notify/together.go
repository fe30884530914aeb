package notify

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/url"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Together is a Way that can tell of many alarms of a kind in one message.
type Together interface {
	// Joins tells whether a transition may be told with others of its kind.
	Joins(t *rules.Transition) bool
	// DeliverTogether brings several items of one kind, as Deliver brings one.
	DeliverTogether(ctx context.Context, items []Item) (wait time.Duration, err error)
}

const (
	groupLeast = 10   // of a kind: fewer are told one by one
	groupMost  = 1000 // in one message
	groupQuiet = 100 * time.Millisecond
	groupWait  = 500 * time.Millisecond // at most, for the rest of a mass event
)

// kind is what transitions share that are told together. Nothing is said of people's words:
// each of them is told by itself.
type kind struct {
	site, alarm string
	what        happening
}

func kindOf(t *rules.Transition) (kind, bool) {
	what := happeningOf(t)
	return kind{t.Key.Site, t.Alarm, what}, t.By == "" && (what == raised || what == cleared)
}

// due gives what is due: once many of a kind are, the rest of a mass event is waited for, a
// moment. What is told alone never waits: it is in alone, the rest in groups.
func (r *receiver) due(ctx context.Context) (alone []Item, groups [][]Item, err error) {
	read := func() error {
		items, err := r.outbox.OutboxDue(ctx, r.name, station.InstantOf(r.now()), batchItems)
		if err == nil && len(items) == batchItems {
			items, err = r.outbox.OutboxDue(ctx, r.name, station.InstantOf(r.now()), groupMost)
		}
		if err == nil {
			alone, groups = r.sort(items)
		}
		return err
	}
	if err := read(); err != nil || len(groups) == 0 || len(alone) > 0 {
		return alone, nil, err // the others come in the next round, which follows at once
	}
	for waited, n := time.Duration(0), grouped(groups); waited < groupWait; waited += groupQuiet {
		select {
		case <-ctx.Done():
			return nil, nil, nil
		case <-time.After(groupQuiet):
		}
		if err := read(); err != nil || grouped(groups) == n {
			return alone, groups, err
		}
		n = grouped(groups)
	}
	return alone, groups, nil
}

func grouped(groups [][]Item) (n int) {
	for _, g := range groups {
		n += len(g)
	}
	return n
}

// sort parts items into those told alone and those told together, each in their order.
func (r *receiver) sort(items []Item) (alone []Item, groups [][]Item) {
	way, ok := r.way.(Together)
	if !ok || len(items) < groupLeast {
		return items, nil
	}
	at := map[kind]int{}
	var all [][]Item
	for _, i := range items {
		k, joins := kindOf(&i.Transition)
		if !joins || !way.Joins(&i.Transition) {
			alone = append(alone, i)
			continue
		}
		n, ok := at[k]
		if !ok {
			n = len(all)
			at[k], all = n, append(all, nil)
		}
		all[n] = append(all[n], i)
	}
	for _, g := range all {
		if len(g) < groupLeast {
			alone = append(alone, g...)
			continue
		}
		groups = append(groups, g)
	}
	return alone, groups
}

// together sends items of a kind in one message and notes what came of it. Those that a
// route keeps back are put off one by one.
func (r *receiver) together(ctx context.Context, items []Item) (sent bool, err error) {
	note := context.WithoutCancel(ctx)
	tell := items[:0:0]
	for i := range items {
		if r.judge != nil {
			if v := r.judge(&items[i], r.now()); !v.Send {
				ok, err := r.withhold(note, &items[i], v)
				if err != nil {
					return sent, err
				}
				sent = sent || ok
				continue
			}
		}
		tell = append(tell, items[i])
	}
	if len(tell) == 0 {
		return sent, nil
	}
	wait, err := r.way.(Together).DeliverTogether(ctx, tell)
	if err == nil {
		r.tried(nil)
		r.count(tell)
		return true, r.done(note, tell)
	}
	if ctx.Err() != nil || r.muted() {
		return sent, nil
	}
	return sent, r.refused(note, tell, wait, err)
}

// done notes deliveries, in one go where the outbox can.
func (r *receiver) done(ctx context.Context, items []Item) error {
	if all, ok := r.outbox.(interface {
		OutboxDoneAll(ctx context.Context, ids []int64) error
	}); ok {
		ids := make([]int64, len(items))
		for i := range items {
			ids[i] = items[i].ID
		}
		return all.OutboxDoneAll(ctx, ids)
	}
	for i := range items {
		if err := r.outbox.OutboxDone(ctx, items[i].ID); err != nil {
			return err
		}
	}
	return nil
}

// togetherData is what an event of many alarms holds: each with the id of its own event.
type togetherData struct {
	Site     string         `json:"site"`
	Alarm    string         `json:"alarm"`
	Priority string         `json:"priority"`
	Count    int            `json:"count"`
	Caution  string         `json:"caution,omitempty"`
	Alarms   []togetherItem `json:"alarms"`
	Reminder string         `json:"reminder"`
}

type togetherItem struct {
	ID      string `json:"id"`
	Station string `json:"station"`
	Branch  string `json:"branch,omitempty"`
	From    string `json:"from"`
	To      string `json:"to"`
	Raised  string `json:"raised"`
	At      string `json:"at"`
	Message string `json:"message,omitempty"`
}

// groupID is the same for the same items.
func groupID(items []Item) string {
	h := sha256.New()
	for i := range items {
		fmt.Fprintf(h, "%s\n", items[i].Transition.ID())
	}
	return "together/" + hex.EncodeToString(h.Sum(nil)[:16])
}

// encodeTogether gives items of a kind as one event.
func encodeTogether(items []Item) ([]byte, error) {
	first := &items[0].Transition
	d := togetherData{Site: first.Key.Site, Alarm: first.Alarm, Priority: highest(items).String(), Count: len(items), Caution: first.Caution, Reminder: reminder}
	newest := first.At
	for i := range items {
		t := &items[i].Transition
		newest = max(newest, t.At)
		d.Alarms = append(d.Alarms, togetherItem{ID: t.ID(), Station: t.Key.Station, Branch: t.Branch, From: t.From.String(), To: t.To.String(),
			Raised: t.Raised.String(), At: t.At.String(), Message: t.Said()})
	}
	b, err := json.Marshal(struct {
		event
		Data togetherData `json:"data"`
	}{event{SpecVersion: "1.0", ID: groupID(items), Source: "/strokewise/" + url.PathEscape(first.Key.Site), Subject: first.Alarm,
		Type: "strokewise.alarms." + happeningOf(first).String(), Time: newest.String(), ContentType: "application/json"}, d})
	if err != nil {
		return nil, fmt.Errorf("cannot encode %d of %s: %w", len(items), first.Alarm, err)
	}
	return b, nil
}

func highest(items []Item) (p rules.Priority) {
	for i := range items {
		p = max(p, items[i].Transition.Priority)
	}
	return p
}

// Joins tells that every transition may be told with others of its kind.
func (w *Webhook) Joins(*rules.Transition) bool { return true }

// DeliverTogether posts items of a kind as one event that lists them all.
func (w *Webhook) DeliverTogether(ctx context.Context, items []Item) (wait time.Duration, err error) {
	body, err := encodeTogether(items)
	if err != nil {
		return 0, err
	}
	_, wait, err = post(ctx, w.Client, w.URL, w.Header, contentType, body)
	return wait, err
}

// Joins tells that every transition may be told with others of its kind.
func (a *Alertmanager) Joins(*rules.Transition) bool { return true }

// DeliverTogether tells of items in one request, an alert each: Alertmanager does the
// grouping.
func (a *Alertmanager) DeliverTogether(ctx context.Context, items []Item) (wait time.Duration, err error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	newest := map[occasion]*rules.Transition{}
	if open, ok := a.open(); ok {
		for i := range open {
			newest[occasion{open[i].Key, open[i].Alarm}] = &open[i]
		}
	}
	now, told, alerts := time.Now(), make([]rules.Transition, len(items)), make([]alert, len(items))
	for i := range items {
		told[i] = items[i].Transition
		if o := newest[occasion{told[i].Key, told[i].Alarm}]; o != nil && o.Raised > told[i].Raised {
			told[i] = *o
		}
		alerts[i] = a.alert(&told[i], now)
	}
	for len(alerts) > 0 {
		n := min(len(alerts), batchAlerts)
		if _, wait, err = a.send(ctx, alerts[:n]); err != nil {
			return wait, err
		}
		alerts = alerts[n:]
	}
	for i := range told {
		a.note(&told[i])
	}
	return 0, nil
}

// Joins tells that what is mailed at once may be told with others of its kind; the rest
// waits for the digest.
func (m *Mail) Joins(t *rules.Transition) bool { return t.Priority >= rules.Medium }

// DeliverTogether writes one mail of items of a kind.
func (m *Mail) DeliverTogether(ctx context.Context, items []Item) (wait time.Duration, err error) {
	subject, body := togetherText(items, m.zone(items[0].Transition.Key.Site), m.Pages)
	return 0, m.send(ctx, subject, body, groupID(items))
}

// togetherText gives subject and body of a mail of items of a kind: the caution first, then
// every station by name.
func togetherText(items []Item, zone *time.Location, pages string) (subject, body string) {
	first := &items[0].Transition
	subject = fmt.Sprintf("[strokewise] %s: %s %s at %d stations of %s", highest(items), first.Alarm, happeningOf(first), len(items), first.Key.Site)
	var b strings.Builder
	if first.Caution != "" {
		fmt.Fprintf(&b, "CAUTION: %s\n\n", first.Caution)
	}
	for i := range items {
		t := &items[i].Transition
		fmt.Fprintf(&b, "%s  %s\n", t.Key, local(t.At, zone))
		if t.Message != "" {
			fmt.Fprintf(&b, "    %s\n", t.Said())
		}
	}
	if d, ok := rules.DefinitionOf(first.Key, first.Alarm); ok && first.To.Active() {
		b.WriteString("\n" + knownText(&d))
	}
	if pages != "" {
		fmt.Fprintf(&b, "\n%s/\n", strings.TrimRight(pages, "/"))
	}
	fmt.Fprintf(&b, "\n%s\n", reminder)
	return subject, plain(b.String())
}
