package mqtt

import "github.com/eclipse/paho.mqtt.golang/packets"

// noStore keeps nothing for the client library: we send no messages, and what was not
// acknowledged the broker keeps and sends again. The library's own store would hold every
// received message a second time.
type noStore struct{}

func (noStore) Open()                             {}
func (noStore) Put(string, packets.ControlPacket) {}
func (noStore) Get(string) packets.ControlPacket  { return nil }
func (noStore) All() []string                     { return nil }
func (noStore) Del(string)                        {}
func (noStore) Close()                            {}
func (noStore) Reset()                            {}
