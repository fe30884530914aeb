package sparkplug

import (
	"sync"

	"google.golang.org/protobuf/proto"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	pb "strokewise/collector/sparkplug/sparkplugpb"
)

// Bounds of what is remembered.
const (
	maxNodes   = 10_000
	maxMetrics = 100_000 // of a node, with its devices
	seqs       = 256     // sequence numbers run from 0 to 255 (6.4.3)
	// askAgain is how long an edge node is not asked again for its birth: it needs some seconds to collect
	// it. Own choice, no source.
	askAgain = 10 * station.Second
	// oldest is how old a value in a birth may be: births repeat the last value of everything.
	oldest = 24 * 60 * station.Minute60
)

// rebirth is the metric that asks an edge node for its birth (6.4.19).
const rebirth = "Node Control/Rebirth"

// Session remembers what edge nodes said in their births. It is safe for concurrent use, but the order
// of messages matters.
type Session struct {
	// Ask publishes a request for a birth; nil: nobody is asked.
	Ask func(topic string, data []byte)

	mu    sync.Mutex
	nodes map[sender]*node
}

type sender struct{ group, node string }

// node is one edge node.
type node struct {
	alive   bool
	whole   bool   // no message is missing since the birth
	next    uint64 // sequence number
	bdSeq   uint64 // names the connection, in birth and death (6.4.20)
	metrics map[metric]definition
	aliases map[uint64]metric
	before  map[uint64]definition // by alias, of the birth before
	devices map[string]bool       // that are born
	asked   station.Instant
}

// metric names a metric; its device is "" for the node's own.
type metric struct{ device, name string }

// definition is what a birth says of a metric.
type definition struct {
	metric
	datatype uint32
	unit     string
	since    station.Instant // the alias has meant this since
}

// How is the way in which a message is to be read.
type How struct {
	// Again: the message comes out of a store and has no place in the order any more. It is read by what
	// the births say, if that was so when it was sent.
	Again bool
	// Ask: the edge node may be asked for its birth.
	Ask bool
}

// Read appends the readings of a message to dst.
func (s *Session) Read(id ID, data []byte, how How, c *payload.Context, dst []payload.Reading) ([]payload.Reading, *payload.Refusal) {
	var p pb.Payload
	if err := proto.Unmarshal(data, &p); err != nil {
		return dst, payload.Refuse(payload.BadSparkplug, "cannot read the payload: it is no protobuf message of Sparkplug B, or is cut off")
	}
	if len(p.Metrics) > payload.MaxSamples {
		return dst, payload.Refuse(payload.TooLong, "more than %d metrics in one message", payload.MaxSamples)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	n := s.node(sender{id.Group, id.Node})
	if n == nil {
		return dst, payload.Refuse(payload.BadSparkplug, "more than %d edge nodes send; narrow match", maxNodes)
	}
	if how.Again {
		return n.stored(id, &p, c, dst)
	}
	dst, missed, r := n.live(id, &p, c, dst)
	if missed && how.Ask {
		s.askFor(n, id, c.Arrival)
	}
	return dst, r
}

// node returns what is remembered of an edge node, nil where there are too many.
func (s *Session) node(k sender) *node {
	if n := s.nodes[k]; n != nil {
		return n
	}
	if len(s.nodes) >= maxNodes {
		return nil
	}
	if s.nodes == nil {
		s.nodes = make(map[sender]*node)
	}
	n := &node{}
	s.nodes[k] = n
	return n
}

// live reads a message in its order; missed says that a birth is needed.
func (n *node) live(id ID, p *pb.Payload, c *payload.Context, dst []payload.Reading) (out []payload.Reading, missed bool, r *payload.Refusal) {
	switch id.Type {
	case nodeBirth:
		dst, r = n.born(p, c, dst)
		return dst, false, r
	case nodeDeath:
		n.dies(p)
		return dst, false, nil
	}
	if r := n.follows(p); r != nil {
		return dst, true, r
	}
	switch id.Type {
	case deviceBirth:
		dst, r = n.bears(id.Device, p, c, dst)
		return dst, false, r
	case deviceDeath:
		n.devices[id.Device] = false
		return dst, false, nil
	case deviceData:
		if !n.devices[id.Device] {
			return dst, true, payload.Refuse(payload.NotBorn, "the device %.60q sends without a birth; its edge node is asked for one where that is allowed", id.Device)
		}
	}
	dst, r = n.read(id.Device, p, false, c, dst)
	return dst, false, r
}

// born begins a new session of the node.
func (n *node) born(p *pb.Payload, c *payload.Context, dst []payload.Reading) ([]payload.Reading, *payload.Refusal) {
	n.before = make(map[uint64]definition, len(n.aliases))
	for a, m := range n.aliases {
		n.before[a] = n.metrics[m]
	}
	n.alive, n.whole, n.next = true, true, (p.GetSeq()+1)%seqs
	n.metrics, n.aliases, n.devices = make(map[metric]definition), make(map[uint64]metric), make(map[string]bool)
	n.bdSeq, _ = bdSeq(p)
	if r := n.define("", p, c); r != nil {
		return dst, r
	}
	return n.read("", p, true, c, dst)
}

// bears begins a new session of a device.
func (n *node) bears(device string, p *pb.Payload, c *payload.Context, dst []payload.Reading) ([]payload.Reading, *payload.Refusal) {
	if r := n.define(device, p, c); r != nil {
		return dst, r
	}
	n.devices[device] = true
	return n.read(device, p, true, c, dst)
}

// bdSeq returns the number of the connection that a birth or a death names.
func bdSeq(p *pb.Payload) (uint64, bool) {
	for _, m := range p.Metrics {
		if m.GetName() == "bdSeq" {
			if v, ok := m.Value.(*pb.Metric_IntValue); ok {
				return uint64(v.IntValue), true
			}
			return m.GetLongValue(), true
		}
	}
	return 0, false
}

// dies ends the session, if the death is of the same connection as the birth: the last will of an older
// one may come late.
func (n *node) dies(p *pb.Payload) {
	if d, ok := bdSeq(p); ok && n.alive && d != n.bdSeq {
		return
	}
	n.alive, n.whole = false, false
}

// follows checks that a message is the next one. The last one once more is a redelivery.
func (n *node) follows(p *pb.Payload) *payload.Refusal {
	seq := p.GetSeq()
	switch {
	case !n.alive:
		return payload.Refuse(payload.NotBorn, "the edge node sends, and its birth was not heard, or it died since; it is asked for one where that is allowed")
	case !n.whole:
		return payload.Refuse(payload.NotBorn, "a message of the edge node is missing, and its aliases may mean something else since; a birth is waited for")
	case seq == n.next:
		n.next = (seq + 1) % seqs
	case (seq+1)%seqs == n.next:
	default:
		n.whole = false
		return payload.Refuse(payload.NotBorn, "the sequence number is %d, and %d was next: a message is missing, and aliases may mean something else since; a birth is waited for", seq, n.next)
	}
	return nil
}

// define keeps what a birth declares of its metrics.
func (n *node) define(device string, p *pb.Payload, c *payload.Context) *payload.Refusal {
	for m, d := range n.metrics { // of an earlier birth of the device
		if m.device == device {
			delete(n.metrics, m)
			for a, x := range n.aliases {
				if x == m {
					n.before[a] = d
					delete(n.aliases, a)
				}
			}
		}
	}
	since := at(p.Timestamp, c.Arrival)
	for _, x := range p.Metrics {
		if len(n.metrics) >= maxMetrics {
			return payload.Refuse(payload.TooLong, "the edge node has more than %d metrics", maxMetrics)
		}
		if x.Name == nil {
			continue
		}
		unit, _ := properties(x)
		d := definition{metric{device, x.GetName()}, x.GetDatatype(), unit, since}
		if x.Alias != nil {
			if was, ok := n.before[x.GetAlias()]; ok && was.metric == d.metric && was.datatype == d.datatype && was.unit == d.unit {
				d.since = min(d.since, was.since)
			}
			n.aliases[x.GetAlias()] = d.metric
		}
		n.metrics[d.metric] = d
	}
	return nil
}

// at returns a time of Sparkplug.
func at(ms *uint64, arrival station.Instant) station.Instant {
	if ms == nil || *ms > 9e15 {
		return arrival.Floor(station.Microsecond)
	}
	t, ok := station.InstantOfSeconds(float64(*ms) / 1e3)
	if !ok {
		return 0
	}
	return t
}

// askFor asks an edge node for its birth, not too often.
func (s *Session) askFor(n *node, id ID, now station.Instant) {
	if s.Ask == nil || n.asked != 0 && now.Sub(n.asked) < askAgain && now >= n.asked {
		return
	}
	n.asked = now
	name, ms, boolean := rebirth, uint64(now/1e6), uint32(11)
	data, err := proto.Marshal(&pb.Payload{Timestamp: &ms, Metrics: []*pb.Metric{
		{Name: &name, Timestamp: &ms, Datatype: &boolean, Value: &pb.Metric_BooleanValue{BooleanValue: true}}}})
	if err == nil {
		s.Ask(namespace+"/"+id.Group+"/"+nodeCommand+"/"+id.Node, data)
	}
}
