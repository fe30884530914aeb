package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"text/tabwriter"
	"time"

	"strokewise/cmd/internal/progress"
)

// refusedCmd are the orders about messages that were not accepted.
type refusedCmd struct {
	List    refusedList    `cmd:"" help:"List by reason: how many are kept, since when, and from which topics."`
	Show    refusedShow    `cmd:"" help:"Show the newest messages of a reason."`
	Take    refusedTake    `cmd:"" help:"Run the messages of a reason through the intake again, after the mapping was mended. What is accepted leaves the store; what is still refused, or too late for its station, stays."`
	Discard refusedDiscard `cmd:"" help:"Remove the messages of a reason for good."`
	Trust   refusedTrust   `cmd:"" help:"Say that this machine's clock is right although it is in doubt: messages that wait for it are decided by it."`
}

type refusedList struct{ pagesURL }

type refusedShow struct {
	Reason string `arg:"" help:"Reason, as in not-json."`
	Most   int    `short:"n" default:"10" help:"How many at most, up to 50."`
	pagesURL
}

type refusedTake struct {
	Reason string `arg:"" help:"Reason, as in unknown-station."`
	sender
}

type refusedDiscard struct {
	Reason string `arg:"" help:"Reason, as in not-json."`
	sender
}

type refusedTrust struct{ sender }

// keptReason is what the program says of a reason.
type keptReason struct {
	Reason   string `json:"reason"`
	Messages int64  `json:"messages"`
	Bytes    int64  `json:"bytes"`
	Oldest   string `json:"oldest"`
	Newest   string `json:"newest"`
	Examples []struct {
		At      string `json:"at"`
		Topic   string `json:"topic"`
		Detail  string `json:"detail"`
		Payload string `json:"payload"`
		Size    int    `json:"size"`
	} `json:"examples"`
}

// Run lists the reasons.
func (c *refusedList) Run(e *env) error {
	var list []keptReason
	if err := c.ask(e, http.MethodGet, nil, nil, &list); err != nil {
		return err
	}
	if len(list) == 0 {
		fmt.Fprintln(e.out, "nothing is kept")
		return nil
	}
	t := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "reason\tmessages\tbytes\toldest\tnewest\ttopics")
	for _, m := range list {
		var topics []string
		for _, x := range m.Examples {
			if len(topics) == 0 || topics[len(topics)-1] != x.Topic {
				topics = append(topics, x.Topic)
			}
		}
		fmt.Fprintf(t, "%s\t%d\t%d\t%s\t%s\t%s\n", m.Reason, m.Messages, m.Bytes, m.Oldest, m.Newest, strings.Join(topics, ", "))
	}
	return t.Flush()
}

// Run shows the newest of a reason.
func (c *refusedShow) Run(e *env) error {
	var list []keptReason
	if err := c.ask(e, http.MethodGet, url.Values{"reason": {c.Reason}, "n": {fmt.Sprint(c.Most)}}, nil, &list); err != nil {
		return err
	}
	for _, m := range list {
		if m.Reason != c.Reason {
			continue
		}
		fmt.Fprintf(e.out, "%s: %d messages, %s to %s\n", m.Reason, m.Messages, m.Oldest, m.Newest)
		for _, x := range m.Examples {
			fmt.Fprintf(e.out, "\n%s  %s  %d bytes\n  %s\n  %s\n", x.At, x.Topic, x.Size, x.Detail, x.Payload)
		}
		return nil
	}
	return fmt.Errorf("nothing is kept under %q: strokewise refused list shows the reasons", c.Reason)
}

// refusedAnswer is what became of messages.
type refusedAnswer struct {
	Accepted    int64    `json:"accepted"`
	Late        int64    `json:"late"`
	LateSamples int64    `json:"late_samples"`
	Refused     int64    `json:"refused"`
	Still       []string `json:"still"`
	Discarded   int64    `json:"discarded"`
	More        bool     `json:"more"`
	Next        uint64   `json:"next"`
}

// Run lets messages be taken again, some seconds' worth with each request, until all were looked at. An
// interrupt ends it between two requests.
func (c *refusedTake) Run(e *env) error {
	var sum refusedAnswer
	for more := true; more; {
		var a refusedAnswer
		if err := c.order(e, "take", c.Reason, sum.Next, &a); err != nil {
			return err
		}
		more, sum.Next = a.More, a.Next
		sum.Accepted += a.Accepted
		sum.Late += a.Late
		sum.LateSamples += a.LateSamples
		sum.Refused += a.Refused
		sum.Still = a.Still
		if more && progress.Terminal(e.err) {
			fmt.Fprintf(e.err, "%d accepted so far\n", sum.Accepted)
		}
	}
	fmt.Fprintf(e.out, "%s: %d accepted\n", c.Reason, sum.Accepted)
	if sum.Refused > 0 {
		fmt.Fprintf(e.out, "%d are still refused (%s) and stay\n", sum.Refused, strings.Join(sum.Still, ", "))
	}
	if sum.Late > 0 {
		fmt.Fprintf(e.out, "%d are too late, since their station has newer samples already, and stay; strokewise replay analyses old data beside the running program\n", sum.Late)
	}
	if sum.LateSamples > 0 {
		fmt.Fprintf(e.out, "%d samples came too late meanwhile, of all stations: the analyzer counts them as late and leaves them out\n", sum.LateSamples)
	}
	return nil
}

// Run removes the messages of a reason.
func (c *refusedDiscard) Run(e *env) error {
	var a refusedAnswer
	if err := c.order(e, "discard", c.Reason, 0, &a); err != nil {
		return err
	}
	fmt.Fprintf(e.out, "%s: %d discarded\n", c.Reason, a.Discarded)
	return nil
}

// Run trusts the clock.
func (c *refusedTrust) Run(e *env) error {
	var a refusedAnswer
	if err := c.order(e, "trust", "", 0, &a); err != nil {
		return err
	}
	fmt.Fprintln(e.out, "this machine's clock is trusted; messages that waited are decided by it now")
	return nil
}

// order sends an order about refused messages.
func (s *sender) order(e *env, do, reason string, after uint64, into any) error {
	return s.ask(e, http.MethodPost, nil, map[string]any{"do": do, "reason": reason, "who": s.Who, "after": after}, into)
}

// ask sends a request about refused messages to the running program and reads its answer.
func (p *pagesURL) ask(e *env, method string, query url.Values, body, into any) error {
	at, err := p.page("refused")
	if err != nil {
		return err
	}
	at.RawQuery = query.Encode()
	return p.request(e, time.Minute, method, at, body, func(res *http.Response) error { return answered(res, into) })
}

// answered reads an answer about refused messages.
func answered(res *http.Response, into any) error {
	text, err := io.ReadAll(io.LimitReader(res.Body, 8<<20))
	if err != nil {
		return fmt.Errorf("cannot read the program's answer: %w", err)
	}
	if res.StatusCode != http.StatusOK {
		var said struct {
			Error string `json:"error"`
		}
		if json.Unmarshal(text, &said) == nil && said.Error != "" {
			return errors.New(said.Error)
		}
		return fmt.Errorf("not done: status %d: %.300s", res.StatusCode, bytes.TrimSpace(text))
	}
	if err := json.Unmarshal(text, into); err != nil {
		return fmt.Errorf("cannot read the program's answer: %w", err)
	}
	return nil
}
