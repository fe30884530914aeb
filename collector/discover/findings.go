package discover

import (
	"math"

	"strokewise/analyzer/station"
)

// Findings are what was concluded from what was heard.
type Findings struct {
	Seconds  float64   `json:"seconds"` // from the first message to the newest
	Messages int64     `json:"messages"`
	Bytes    int64     `json:"bytes"`
	LeftOut  int64     `json:"left_out"` // messages and values beyond the bounds
	Topics   []Topic   `json:"topics"`
	Series   []Series  `json:"series"`
	Stations []Station `json:"stations"`
}

// Topic is a topic that was heard. A Sparkplug sender is one, whatever the types of its messages.
type Topic struct {
	Name     string  `json:"name"`
	Messages int64   `json:"messages"`
	Bytes    int64   `json:"bytes"`
	Retained int64   `json:"retained,omitempty"`
	Payload  string  `json:"payload"` // as in the configuration; auto: nothing could be read
	Rate     float64 `json:"rate"`    // messages a second
	Unread   int64   `json:"unread,omitempty"`
	Problem  string  `json:"problem,omitempty"` // of the newest that could not be read
	Several  bool    `json:"several_senders,omitempty"`
	Comma    bool    `json:"decimal_comma,omitempty"`
	TimeAt   string  `json:"time_at,omitempty"`  // path of the time in JSON
	TimeOff  bool    `json:"time_off,omitempty"` // it is more than 5 min off
	Each     string  `json:"each,omitempty"`     // of a list of named values, with the next two
	Listed   bool    `json:"listed,omitempty"`
	NameAt   string  `json:"name_at,omitempty"`
	ValueAt  string  `json:"value_at,omitempty"`
}

// Series is one value of a topic.
type Series struct {
	ID      int       `json:"id"`
	Topic   int       `json:"topic"`          // index into Topics
	Name    string    `json:"name,omitempty"` // in the payload; "": the only value
	Values  int64     `json:"values"`
	Rate    float64   `json:"rate"` // values a second
	Low     float64   `json:"low"`
	High    float64   `json:"high"`
	Last    float64   `json:"last"`
	Step    float64   `json:"step,omitempty"` // smallest change
	Channel string    `json:"channel,omitempty"`
	Unit    string    `json:"unit,omitempty"` // that the payload says
	Guesses []Guess   `json:"guesses"`
	Trace   []float64 `json:"-"` // means of equal times, NaN where nothing came
}

// Best returns the likeliest guess.
func (s *Series) Best() Guess {
	if len(s.Guesses) == 0 {
		return Guess{Is: Other}
	}
	return s.Guesses[0]
}

// Station is a station that is proposed.
type Station struct {
	ID       string     `json:"id"`
	Why      string     `json:"why"`
	Channels []Assigned `json:"channels"`
}

// Assigned is a series that stands for a channel.
type Assigned struct {
	Series  int     `json:"series"`
	Channel string  `json:"channel"`
	Sure    float64 `json:"sure"`
	Why     string  `json:"why"`
}

// Findings returns what was concluded up to now.
func (l *Listener) Findings() *Findings {
	f := &Findings{Messages: l.messages, Bytes: l.bytes, LeftOut: l.left}
	if l.began != 0 {
		f.Seconds = float64(l.newest.Sub(l.began)) / 1e9
	}
	index := make(map[*heard]int, len(l.topics))
	for i, t := range l.topics {
		index[t] = i
		f.Topics = append(f.Topics, t.finding(f.Seconds))
	}
	for _, s := range l.series {
		f.Series = append(f.Series, s.finding(index[s.topic], l.used()))
	}
	f.Stations = l.propose(f)
	l.grids = nil
	return f
}

func (t *heard) finding(seconds float64) Topic {
	return Topic{Name: t.name, Messages: t.messages, Bytes: t.bytes, Retained: t.retained, Payload: t.format().String(), Rate: float64(t.messages) / max(seconds, 1),
		Unread: t.unread, Problem: t.problem, Several: t.several, Comma: t.comma, TimeAt: t.time.at, TimeOff: t.time.far,
		Each: t.shape.each, Listed: t.shape.listed, NameAt: t.shape.name, ValueAt: t.shape.value}
}

func (s *series) finding(topic, used int) Series {
	out := Series{ID: s.id, Topic: topic, Name: s.name, Values: s.n, Rate: s.rate(), Low: s.low, High: s.high, Last: s.before, Step: s.least, Unit: s.unit, Guesses: s.guesses()}
	if s.named {
		out.Channel = s.channel.String()
	}
	out.Trace = make([]float64, used)
	for k := range out.Trace {
		out.Trace[k] = s.slots[k].mean()
	}
	return out
}

// channelOf returns the channel by its name; false where there is none.
func channelOf(name string) (station.Channel, bool) { return station.ParseChannel(name) }

// number reports whether a value can be written.
func number(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
