// Package sparkplug reads messages of Sparkplug B edge nodes: it remembers what their births said, checks
// that no message is missing, and asks for a new birth where one is. It follows the Sparkplug
// specification 3.0.
package sparkplug

//go:generate protoc --go_out=. --go_opt=module=strokewise/collector/sparkplug sparkplugpb/payload.proto

import "strings"

// namespace begins all topics (4.1.1).
const namespace = "spBv1.0"

// The types of messages that edge nodes send (4.1.2).
const (
	nodeBirth   = "NBIRTH"
	nodeDeath   = "NDEATH"
	nodeData    = "NDATA"
	deviceBirth = "DBIRTH"
	deviceDeath = "DDEATH"
	deviceData  = "DDATA"
	nodeCommand = "NCMD"
)

// ID is what a topic says.
type ID struct {
	Group, Node, Device string // Device is "" for the node itself
	Type                string
}

// Parse reads a topic; false where it is none of an edge node's message.
func Parse(topic string) (ID, bool) {
	parts := strings.Split(topic, "/")
	if len(parts) != 4 && len(parts) != 5 || parts[0] != namespace {
		return ID{}, false
	}
	id := ID{Group: parts[1], Type: parts[2], Node: parts[3]}
	switch id.Type {
	case nodeBirth, nodeDeath, nodeData:
		return id, len(parts) == 4 && id.Group != "" && id.Node != ""
	case deviceBirth, deviceDeath, deviceData:
		if len(parts) == 4 {
			return ID{}, false
		}
		id.Device = parts[4]
		return id, id.Group != "" && id.Node != "" && id.Device != ""
	}
	return ID{}, false
}

// Filters returns the MQTT subscription filters for edge nodes, given those of group, node and, where
// they matter, device. The order of a node's messages counts over all its devices, so those of all are
// received.
func Filters(levels []string) []string {
	group, node := "+", "+"
	if len(levels) > 0 {
		group = levels[0]
	}
	if len(levels) > 1 {
		node = levels[1]
	}
	var out []string
	for _, t := range [...]string{nodeBirth, nodeDeath, nodeData, deviceBirth, deviceDeath, deviceData} {
		f := namespace + "/" + group + "/" + t + "/" + node
		if t[0] == 'D' {
			f += "/+"
		}
		out = append(out, f)
	}
	return out
}

// Path returns the names of a message's sender, for patterns of two levels (group and node) or three
// (with the device). Where the pattern asks for a device and the node itself sends, unnamed stands for it.
func (id *ID) Path(levels int) string {
	p := id.Group + "/" + id.Node
	switch {
	case levels < 3:
		return p
	case id.Device == "":
		return p + "/" + Unnamed
	}
	return p + "/" + id.Device
}

// Unnamed stands for the device where the node itself sends. No topic holds it.
const Unnamed = "\x00"

// Levels returns how many levels a pattern of senders has, and whether that is one that can be.
func Levels(pattern string) (int, bool) {
	n := 1 + strings.Count(pattern, "/")
	return n, n == 2 || n == 3
}
