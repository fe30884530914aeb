package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"strokewise/dashboards/access"
	"strokewise/dashboards/board"
	"strokewise/rules"
)

// Refusals are the messages that were not accepted and are kept.
type Refusals interface {
	// Sums returns what is kept, by reason.
	Sums(ctx context.Context) ([]board.RefusedSum, error)
	// Latest returns the newest messages of a reason, newest first.
	Latest(ctx context.Context, reason string, most int) ([]board.Refused, error)
	// Take runs messages of a reason through the intake again, those after a position of an earlier
	// answer. Those that are accepted leave the store.
	Take(ctx context.Context, who, reason string, after uint64) (Taken, error)
	// Discard removes the messages of a reason and returns how many there were.
	Discard(ctx context.Context, who, reason string) (int64, error)
	// TrustClock ends a doubt of this machine's clock.
	TrustClock(ctx context.Context, who string) error
}

// Taken is what became of messages that were run through the intake again.
type Taken struct {
	Accepted    int64    `json:"accepted"`
	Late        int64    `json:"late"`         // too late for their station; they stay
	LateSamples int64    `json:"late_samples"` // of all stations, that came too late meanwhile
	Refused     int64    `json:"refused"`      // still; they stay
	Still       []string `json:"still"`        // why
	Discarded   int64    `json:"discarded"`
	More        bool     `json:"more"` // go on after Next
	Next        uint64   `json:"next"`
}

// refusedPath shows what was refused, and carries out what is to become of it.
const refusedPath = "/refused"

const (
	examples     = 3  // of each reason on the page
	mostExamples = 50 // that are shown on request
)

// refusedOrder is what is to become of refused messages.
type refusedOrder struct {
	Do     string `json:"do"`
	Reason string `json:"reason"`
	Who    string `json:"who"`
	After  uint64 `json:"after"`
}

// keptJSON is what is kept under a reason.
type keptJSON struct {
	Reason   string        `json:"reason"`
	Messages int64         `json:"messages"`
	Bytes    int64         `json:"bytes"`
	Oldest   string        `json:"oldest"`
	Newest   string        `json:"newest"`
	Examples []exampleJSON `json:"examples"`
}

type exampleJSON struct {
	At      string `json:"at"`
	Topic   string `json:"topic"`
	Detail  string `json:"detail"`
	Payload string `json:"payload"`
	Size    int    `json:"size"`
}

// refused shows what is kept of the messages that were not accepted, and takes what is to become of them.
func (s *site) refused(w http.ResponseWriter, r *http.Request) {
	if r.Method == http.MethodPost {
		s.refusedOrder(w, r)
		return
	}
	var counts map[string]int64
	if s.Pipeline != nil {
		counts = s.Pipeline().Refused
	}
	sums, kept, err := s.kept(r)
	if wantsJSON(r) {
		if err != nil {
			reply(w, http.StatusServiceUnavailable, map[string]string{"error": err.Error()})
			return
		}
		reply(w, http.StatusOK, keptOf(sums, kept))
		return
	}
	v := refusals(kept, counts, s.Version)
	v.FirstRun = s.FirstRun != nil && readerOf(r).May(access.Discover) == nil
	v.keep(sums)
	if err != nil {
		v.Problem = err.Error()
	}
	s.render(w, "refused.html", v)
}

// kept returns what is kept: of each reason the newest, or of the one that is asked for as many as are.
func (s *site) kept(r *http.Request) (sums []board.RefusedSum, kept []board.Refused, err error) {
	if s.Refusals == nil {
		return nil, nil, nil
	}
	if sums, err = s.Refusals.Sums(r.Context()); err != nil {
		return nil, nil, err
	}
	only, n := r.FormValue("reason"), examples
	if asked, err := strconv.Atoi(r.FormValue("n")); err == nil {
		n = max(1, min(asked, mostExamples))
	}
	for i := range sums {
		if only != "" && sums[i].Reason != only {
			continue
		}
		list, err := s.Refusals.Latest(r.Context(), sums[i].Reason, n)
		if err != nil {
			return sums, kept, err
		}
		kept = append(kept, list...)
	}
	return sums, kept, nil
}

func keptOf(sums []board.RefusedSum, kept []board.Refused) []keptJSON {
	out := make([]keptJSON, len(sums))
	for i, m := range sums {
		out[i] = keptJSON{Reason: m.Reason, Messages: m.Messages, Bytes: m.Bytes, Oldest: m.Oldest.String(), Newest: m.Newest.String(), Examples: []exampleJSON{}}
		for _, k := range kept {
			if k.Reason == m.Reason {
				out[i].Examples = append(out[i].Examples, exampleJSON{k.At.String(), k.Topic, k.Detail, k.Payload, k.Size})
			}
		}
	}
	return out
}

// refusedOrder carries out an order about refused messages.
func (s *site) refusedOrder(w http.ResponseWriter, r *http.Request) {
	var in refusedOrder
	r.Body = http.MaxBytesReader(w, r.Body, mostBody)
	err := readJSON(r.Body, &in)
	var t Taken
	if err == nil {
		e := noted(r)
		e.What, e.Target = clipped(in.Do+" refused"), clipped(in.Reason)
		who := readerOf(r)
		if !who.open {
			in.Who = who.Name
		}
		if why := who.May(access.Trust); in.Do == "trust" && !who.open && why != nil {
			s.deny(w, r, why)
			return
		}
		e.Who = clipped(in.Who)
		t, err = s.carryOut(r.Context(), &in)
	}
	var refusal *rules.Refusal
	switch {
	case errors.As(err, &refusal):
		reply(w, http.StatusConflict, map[string]string{"error": refusal.Text})
	case err != nil:
		reply(w, http.StatusServiceUnavailable, map[string]string{"error": err.Error()})
	default:
		reply(w, http.StatusOK, t)
	}
}

func (s *site) carryOut(ctx context.Context, in *refusedOrder) (t Taken, err error) {
	if strings.TrimSpace(in.Who) == "" {
		return t, &rules.Refusal{Text: "who is missing: your name, for the audit trail"}
	}
	switch in.Do {
	case "take":
		return s.Refusals.Take(ctx, in.Who, in.Reason, in.After)
	case "discard":
		t.Discarded, err = s.Refusals.Discard(ctx, in.Who, in.Reason)
		return t, err
	case "trust":
		return t, s.Refusals.TrustClock(ctx, in.Who)
	}
	return t, &rules.Refusal{Text: fmt.Sprintf("do is %.40q: expected take, discard or trust", in.Do)}
}
