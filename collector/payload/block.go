package payload

import (
	"math"
	"slices"
	"strings"

	"strokewise/analyzer/station"
)

// column is one array of a block.
type column struct {
	channel station.Channel
	values  []float64
	missing bool // NaN where there is no reading
}

// block is a JSON block as it is read.
type block struct {
	t0, dt       float64
	hasT0, hasDt bool
	times        []float64
	columns      [station.NumChannels + 1]column
	n            int
	samples      int
	seen         [station.NumChannels]bool
}

// decodeBlock reads {"t0", "dt", "v"} of the topic's channel, or with the arrays of
// several channels by name. Instead of dt there may be "t", an array of Unix seconds. null
// in an array is no reading.
func decodeBlock(s *scanner, c *Context, dst []station.Block) ([]station.Block, *Refusal) {
	var b block
	if !s.take('{') {
		return dst, refuse(NotJSON, `expected a JSON object such as {"t0": 1767225600.0, "dt": 0.01, "v": [612.4]}`)
	}
	for first := true; !s.take('}'); first = false {
		if !first && !s.take(',') {
			return dst, refuse(NotJSON, "expected , or } at byte %d; the message may be cut off", s.pos)
		}
		if r := b.member(s, c); r != nil {
			return dst, r
		}
	}
	if s.space(); !s.end() {
		return dst, refuse(NotJSON, "there is more behind the object's end, at byte %d", s.pos)
	}
	return b.blocks(c, dst)
}

// member reads one member of the object.
func (b *block) member(s *scanner, c *Context) *Refusal {
	key, ok := s.str()
	if !ok || !s.take(':') {
		return refuse(NotJSON, "expected a name and a colon at byte %d; the message may be cut off", s.pos)
	}
	switch string(key) {
	case "t0":
		return b.single(s, "t0", &b.t0, &b.hasT0)
	case "dt":
		return b.single(s, "dt", &b.dt, &b.hasDt)
	case "t":
		if b.times != nil {
			return refuse(BadBlock, "t occurs twice")
		}
		x := column{}
		if r := b.array(s, "t", &x); r != nil {
			return r
		}
		if x.missing {
			return refuse(BadBlock, "t holds null; each sample needs its time")
		}
		b.times = x.values
		return nil
	case "v":
		if !c.HasChannel {
			return refuse(NoChannel, `"v" needs a topic that names the channel; name the arrays by channel instead`)
		}
		return b.column(s, c.Channel)
	}
	ch, ok := station.ParseChannel(string(key))
	if !ok {
		if c.ignores(string(key)) {
			return s.leaveOut(string(key))
		}
		return refuse(UnknownChannel, "no channel is called %.40q; known are %s; other members can be left out with ignore, or mapped with payload: json", key, strings.Join(station.ChannelNames(), ", "))
	}
	return b.column(s, ch)
}

// ignores reports whether a member of a block is left out.
func (c *Context) ignores(key string) bool {
	return slices.Contains(c.Ignore, key) || slices.Contains(c.Ignore, "*")
}

// leaveOut reads over the value of a member.
func (s *scanner) leaveOut(key string) *Refusal {
	if !s.skip() {
		return refuse(NotJSON, "%.40q: expected a value at byte %d; the message may be cut off", key, s.pos)
	}
	return nil
}

func (b *block) single(s *scanner, name string, v *float64, has *bool) *Refusal {
	if *has {
		return refuse(BadBlock, "%s occurs twice", name)
	}
	x, r := s.value(name)
	*v, *has = x, true
	return r
}

func (b *block) column(s *scanner, ch station.Channel) *Refusal {
	if b.seen[ch] {
		return refuse(BadBlock, "%s occurs twice", ch)
	}
	b.seen[ch] = true
	x := &b.columns[b.n]
	b.n++
	x.channel = ch
	return b.array(s, ch.String(), x)
}

// value reads one finite number, and says precisely what else it found.
func (s *scanner) value(name string) (float64, *Refusal) {
	v, ok := s.number()
	if ok {
		if !finite(v) {
			return 0, refuse(NotFinite, "%s is beyond 1e15", name)
		}
		return v, nil
	}
	switch {
	case s.end():
		return 0, refuse(NotJSON, "the message ends within %s", name)
	case s.word("NaN"), s.word("nan"), s.word("Infinity"), s.word("-Infinity"), s.word("inf"), s.word("-inf"):
		return 0, refuse(NotFinite, "%s holds NaN or an infinity; leave the reading out, or send null", name)
	}
	return 0, refuse(NotJSON, "%s: expected a number at byte %d", name, s.pos)
}

// array reads an array of numbers and nulls.
func (b *block) array(s *scanner, name string, x *column) *Refusal {
	if !s.take('[') {
		return refuse(BadBlock, "%s must be an array of numbers", name)
	}
	x.values = make([]float64, 0, min(MaxSamples, (len(s.data)-s.pos)/5+1))
	for first := true; !s.take(']'); first = false {
		if !first && !s.take(',') {
			return refuse(NotJSON, "expected , or ] in %s at byte %d; the message may be cut off", name, s.pos)
		}
		if b.samples++; b.samples > MaxSamples {
			return refuse(TooLong, "more than %d values in one message; send shorter blocks", MaxSamples)
		}
		if s.peek() == 'n' && s.word("null") {
			x.values, x.missing = append(x.values, math.NaN()), true
			continue
		}
		v, r := s.value(name)
		if r != nil {
			return r
		}
		x.values = append(x.values, v)
	}
	return nil
}

// blocks turns what was read into blocks. Values of a broken wire are left out; they are refused beside
// the blocks of the others.
func (b *block) blocks(c *Context, dst []station.Block) ([]station.Block, *Refusal) {
	if b.n == 0 {
		return dst, refuse(BadBlock, "the block holds no channel")
	}
	total := 0
	for i := 0; i < b.n; i++ {
		x := &b.columns[i]
		if b.times != nil && len(x.values) != len(b.times) {
			return dst, refuse(BadBlock, "%s has %d values and t has %d times", x.channel, len(x.values), len(b.times))
		}
		total += len(x.values)
	}
	if total == 0 {
		return dst, refuse(Empty, "the block holds no value")
	}
	clock, r := b.clock(c)
	if r != nil {
		return dst, r
	}
	var lost *Refusal
	for i := 0; i < b.n; i++ {
		x := &b.columns[i]
		if r := x.convert(c); r != nil {
			lost = r
		}
		if out := clock.block(x); out.Len() > 0 {
			dst = append(dst, out)
		}
	}
	return dst, lost
}

// convert brings a column to SI and marks values of a broken wire as missing.
func (x *column) convert(c *Context) (lost *Refusal) {
	unit, scale := c.pressureUnit(), c.scale(x.channel)
	if scale == nil {
		for i, v := range x.values {
			x.values[i] = x.channel.SI(v, unit)
		}
		return nil
	}
	for i, v := range x.values {
		si, r := scale.si(x.channel, v, "", unit)
		if r != nil {
			si, lost, x.missing = math.NaN(), r, true
		}
		x.values[i] = si
	}
	return lost
}

// clock gives the times of a block's samples.
type clock struct {
	stamp station.Stamp
	start station.Instant
	step  int64   // ns, 0: dt is no whole number of microseconds
	dt    float64 // s
	times []station.Instant
}

// clock reads the block's times. Start and step are rounded to microseconds; a step that
// is no whole number of them (1/3 s) gives each sample a rounded time of its own.
func (b *block) clock(c *Context) (clock, *Refusal) {
	longest := 0
	for i := 0; i < b.n; i++ {
		longest = max(longest, len(b.columns[i].values))
	}
	if b.times != nil {
		if b.hasT0 || b.hasDt {
			return clock{}, refuse(BadBlock, "a block has either t, or t0 and dt")
		}
		return b.listed()
	}
	if !b.hasT0 {
		return clock{}, refuse(BadBlock, "t0 is missing: the Unix time of the first value, s")
	}
	t, ok := station.InstantOfSeconds(b.t0)
	if !ok {
		return clock{}, refuse(BadBlock, "t0 is no time; expected Unix seconds such as 1767225600.0")
	}
	k := clock{start: t, dt: b.dt}
	if longest == 1 {
		return k, nil
	}
	if !(b.dt >= 1e-6) || b.dt > 1e6 {
		return clock{}, refuse(BadBlock, "dt must be the seconds between values, from 1e-6 on")
	}
	if us := math.Round(b.dt * 1e6); math.Abs(b.dt*1e6-us) < 1e-3 {
		k.step = int64(us) * station.Microsecond
	}
	if b.dt*float64(longest) > 4e9 {
		return clock{}, refuse(BadBlock, "the block lasts more than a century")
	}
	return k, nil
}

func (b *block) listed() (clock, *Refusal) {
	k := clock{times: make([]station.Instant, len(b.times))}
	for i, v := range b.times {
		t, ok := station.InstantOfSeconds(v)
		if !ok {
			return clock{}, refuse(BadBlock, "t[%d] is no time; expected Unix seconds", i)
		}
		if i > 0 && t <= k.times[i-1] {
			return clock{}, refuse(BadBlock, "t[%d] is not after t[%d]", i, i-1)
		}
		k.times[i] = t
	}
	return k, nil
}

func (k *clock) at(i int) station.Instant {
	switch {
	case k.times != nil:
		return k.times[i]
	case k.step > 0:
		return k.start.Add(int64(i) * k.step)
	}
	return k.start.Add(int64(math.Round(float64(i)*k.dt*1e6)) * station.Microsecond)
}

// block makes the block of one column; readings that are missing are left out.
func (k *clock) block(x *column) station.Block {
	out := station.Block{Channel: x.channel, Stamp: k.stamp, Start: k.start, Step: k.step}
	regular := !x.missing && k.times == nil && (k.step > 0 || len(x.values) == 1)
	if regular {
		out.Values = x.values
		return out
	}
	out.Step = 0
	n := 0
	out.Times = make([]station.Instant, 0, len(x.values))
	for i, v := range x.values {
		if math.IsNaN(v) {
			continue
		}
		x.values[n] = v
		out.Times = append(out.Times, k.at(i))
		n++
	}
	out.Values = x.values[:n]
	if n > 0 {
		out.Start = out.Times[0]
	}
	return out
}
