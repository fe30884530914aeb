package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/alecthomas/kong"
)

// alarmCmd are the orders that people give about alarms and stations.
type alarmCmd struct {
	Acknowledge  alarmOrder  `cmd:"" help:"Acknowledge an alarm: you have seen it."`
	Shelve       shelveCmd   `cmd:"" help:"Hide an alarm for a time. What is charged stays charged."`
	Unshelve     alarmOrder  `cmd:"" help:"End a shelving early."`
	OutOfService alarmReason `cmd:"" help:"Take an alarm out of service until somebody puts it back."`
	InService    alarmOrder  `cmd:"" help:"Put an alarm back in service."`
	Close        closeCmd    `cmd:"" help:"Close an alarm that has ended, with its cause and what was done."`
	Vented       wordCmd     `cmd:"" help:"State that outlet and tank are vented, and which gauge you read. It replaces no lock-out."`
	AtWork       atWorkCmd   `cmd:"" help:"Declare that you work on a station until a time: whatever rises, strokes or opens raises an alarm at once. This is no lock-out and protects nobody: lock out first."`
	WorkEnded    workEndCmd  `cmd:"" help:"End your declared work on a station; or that of others, whom --why names."`
	Note         wordCmd     `cmd:"" help:"Write a note about a station."`
	Done         doneCmd     `cmd:"" help:"Record a service as done: its interval starts again from that day."`
	Inspected    wordCmd     `cmd:"" help:"Record a tank inspection as done, with the reference of its document."`
}

// sender is what all orders need.
type sender struct {
	Who string `required:"" placeholder:"NAME" env:"STROKEWISE_WHO" aliases:"by" help:"Your name, for the audit trail. Where people log in it is the token's name that counts."`
	pagesURL
}

type alarmOrder struct {
	Station string `arg:"" help:"Site and station, as in northdock/press-4."`
	Alarm   string `arg:"" help:"Name of the alarm, as in outlet-leak."`
	Why     string `placeholder:"TEXT" help:"The reason."`
	sender
}

type alarmReason struct {
	Station string `arg:"" help:"Site and station, as in northdock/press-4."`
	Alarm   string `arg:"" help:"Name of the alarm, as in outlet-leak."`
	Why     string `required:"" placeholder:"TEXT" help:"The reason."`
	sender
}

type closeCmd struct {
	alarmReason
	Cause string `required:"" enum:"${causes}" help:"What caused it: ${enum}."`
}

type shelveCmd struct {
	alarmReason
	For time.Duration `default:"1h" help:"For how long. strokewise alarms explain shows the limit of an alarm: 7 days unless changed, 12 h or less for those that guard people."`
}

type wordCmd struct {
	Station string `arg:"" help:"Site and station, as in northdock/press-4."`
	Text    string `arg:"" help:"The note, the gauge that was read, or the reference of the document."`
	sender
}

type doneCmd struct {
	Station  string `arg:"" help:"Site and station, as in northdock/press-4."`
	What     string `required:"" enum:"${services}" help:"What was done: ${enum}."`
	Document string `required:"" placeholder:"REF" help:"Reference of its document."`
	Date     string `placeholder:"DAY" help:"Day on which it was done, as in 2026-01-10; default: today by this machine's clock."`
	sender
}

// Run sends the record.
func (c *doneCmd) Run(e *env) error {
	if c.Date == "" {
		c.Date = time.Now().Format(time.DateOnly)
	}
	return c.send(e, c.Station, spoken{Kind: "done", Why: c.Document, What: c.What, Date: c.Date})
}

// Run sends the order that the command is named after.
func (c *alarmOrder) Run(e *env, k *kong.Context) error {
	return c.send(e, c.Station, spoken{Kind: k.Selected().Name, Alarm: c.Alarm, Why: c.Why})
}

// Run sends the order that the command is named after.
func (c *alarmReason) Run(e *env, k *kong.Context) error {
	return c.send(e, c.Station, spoken{Kind: k.Selected().Name, Alarm: c.Alarm, Why: c.Why})
}

// Run sends the closing with its cause.
func (c *closeCmd) Run(e *env) error {
	return c.send(e, c.Station, spoken{Kind: "close", Alarm: c.Alarm, Why: c.Why, Cause: c.Cause})
}

// Run sends the shelving.
func (c *shelveCmd) Run(e *env) error {
	return c.send(e, c.Station, spoken{Kind: "shelve", Alarm: c.Alarm, Why: c.Why, Minutes: c.For.Minutes()})
}

// Run sends what was said of the station.
func (c *wordCmd) Run(e *env, k *kong.Context) error {
	return c.send(e, c.Station, spoken{Kind: k.Selected().Name, Why: c.Text})
}

// spoken is an order as it goes to the program.
type spoken struct {
	Kind    string  `json:"kind"`
	Alarm   string  `json:"alarm,omitempty"`
	Who     string  `json:"who"`
	Why     string  `json:"why,omitempty"`
	Minutes float64 `json:"minutes,omitempty"`
	Cause   string  `json:"cause,omitempty"`
	What    string  `json:"what,omitempty"`
	Date    string  `json:"date,omitempty"`
}

// send gives the order to the running program.
func (s *sender) send(e *env, stationName string, o spoken) error {
	o.Who = s.Who
	site, name, ok := strings.Cut(stationName, "/")
	if !ok || site == "" || name == "" {
		return fmt.Errorf("the station is %q: expected site and station, as in northdock/press-4", stationName)
	}
	at, err := s.page("station", url.PathEscape(site), url.PathEscape(name), "command")
	if err != nil {
		return err
	}
	var done bool
	err = s.request(e, 15*time.Second, http.MethodPost, at, o, func(res *http.Response) (err error) {
		done, err = outcome(res)
		return err
	})
	if err != nil {
		return err
	}
	what := strings.TrimSpace(o.Kind + " " + o.Alarm)
	if done {
		fmt.Fprintf(e.out, "%s: done: %s\n", stationName, what)
		return nil
	}
	audit, err := s.page("audit")
	if err != nil {
		return err
	}
	return undecided{fmt.Sprintf("%s: %s: taken, but not decided yet; the audit trail (%s) will show what becomes of it", stationName, what, audit)}
}

// undecided is the error of a command that the log has, and whose outcome is not known in time.
type undecided struct{ text string }

func (u undecided) Error() string { return u.text }

// outcome returns whether the command was done. It returns an error with the reason for a command
// that was refused or not taken, and neither where it is not decided yet.
func outcome(res *http.Response) (done bool, err error) {
	text, err := io.ReadAll(io.LimitReader(res.Body, 64<<10))
	if err != nil {
		return false, fmt.Errorf("cannot read the program's answer: %w; the audit trail shows whether the command was taken", err)
	}
	var a struct {
		Outcome string `json:"outcome"`
		Reason  string `json:"reason"`
	}
	if json.Unmarshal(text, &a) != nil || a.Outcome == "" {
		return false, fmt.Errorf("not taken: status %d: %.300s", res.StatusCode, strings.TrimSpace(string(text)))
	}
	switch res.StatusCode {
	case http.StatusOK:
		return true, nil
	case http.StatusAccepted:
		return false, nil
	}
	return false, fmt.Errorf("%s: %s", a.Outcome, a.Reason)
}
