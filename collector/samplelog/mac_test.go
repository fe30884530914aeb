package samplelog

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/nats-io/nats.go"
	"google.golang.org/protobuf/proto"

	"strokewise/collector/samplelog/recordpb"
)

var (
	firstKey  = NewKey([]byte("the first key of a log that only a test knows"))
	secondKey = NewKey([]byte("the second key of a log that only a test knows"))
)

// opened opens a log at a server with keys, and keeps what it could not read.
func opened(t *testing.T, url string, ks ...Key) (*JetStream, *[]Unreadable) {
	t.Helper()
	bad := new([]Unreadable)
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), URL: url, Keys: ks, OnUnreadable: func(u Unreadable) { *bad = append(*bad, u) }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	return j, bad
}

// publish is what anybody with a way to the server can do.
func publish(t *testing.T, url, subject string, data []byte, header nats.Header) {
	t.Helper()
	c, err := nats.Connect(url)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if _, err := c.RequestMsg(&nats.Msg{Subject: subject, Data: data, Header: header}, patience); err != nil {
		t.Fatal(err)
	}
}

// content returns an entry's bytes as ours are, of any version.
func content(t *testing.T, version uint32) []byte {
	t.Helper()
	b, err := proto.Marshal(&recordpb.Batch{Version: version, Records: []*recordpb.Record{{Arrival: 4711, Tick: true}}})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// numbers reads n entries of partition 0 and returns what they hold; 0 stands for an entry that was passed.
func numbers(t *testing.T, j *JetStream, n int) []int {
	t.Helper()
	var out []int
	err := j.Read(t.Context(), 0, 0, func(e Entry) error {
		if x := 0; len(e.Records) > 0 {
			x = int(e.Records[0].Arrival)
			out = append(out, x)
		} else {
			out = append(out, 0)
		}
		if len(out) == n {
			return errEnough
		}
		return nil
	})
	if !errors.Is(err, errEnough) {
		t.Fatalf("after %v: %v", out, err)
	}
	return out
}

// Where a log has a key, what is not signed is passed from the first start with the key on, and what was
// there before is taken. Nothing that is signed counts in another partition, changed, or under another key.
func TestOnlySignedEntriesAreTaken(t *testing.T) {
	url := startCluster(t, 1).url()
	j, _ := opened(t, url)
	mustAppend(t, j, 0, 1)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	j, bad := opened(t, url, firstKey)
	mustAppend(t, j, 0, 2)
	publish(t, url, usual.subject(0), content(t, codecVersion), nats.Header{previousHeader: {"1"}}) // well formed
	publish(t, url, usual.subject(0), []byte("rubbish"), nil)
	of := func(partition int, data []byte) nats.Header {
		m := &nats.Msg{Data: data, Header: nats.Header{previousHeader: {"1"}}}
		j.sign(partition, m)
		return m.Header
	}
	publish(t, url, usual.subject(0), content(t, codecVersion), of(1, content(t, codecVersion))) // signed for another partition
	publish(t, url, usual.subject(0), content(t, codecVersion), of(0, content(t, 0)))            // changed
	publish(t, url, usual.subject(0), content(t, 99), nats.Header{previousHeader: {"1"}})        // of any version
	mustAppend(t, j, 0, 3)
	if got := fmt.Sprint(numbers(t, j, 8)); got != "[1 2 0 0 0 0 0 3]" {
		t.Errorf("got %s", got)
	}
	numbers(t, j, 8) // read again nothing counts twice
	if n := j.Unreadable(); n != 5 || len(*bad) != 5 {
		t.Errorf("%d counted, %d kept", n, len(*bad))
	}
	for _, u := range *bad {
		t.Logf("position %d: %s", u.Position, u.Why)
		if u.Partition != 0 || u.Position < 3 || u.Position > 7 || u.Why == "" || len(u.Data) == 0 {
			t.Errorf("%+v", u)
		}
	}
}

// What is published beside the partitions is not stored: nobody would read it, and it would look like damage.
func TestNothingIsStoredBesideThePartitions(t *testing.T) {
	url := startCluster(t, 1).url()
	j, _ := opened(t, url)
	c, err := nats.Connect(url)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if _, err := c.Request("sw.v1.samples.99", []byte("rubbish"), patience); !errors.Is(err, nats.ErrNoResponders) {
		t.Errorf("it is answered: %v", err)
	}
	if s, err := j.Size(t.Context()); err != nil || s.Last != 0 {
		t.Errorf("the log ends at %d: %v", s.Last, err)
	}
}

// A key is changed by naming the old one beside the new one. Without the old one, and without any, the log
// is not opened: its own entries would count as somebody else's.
func TestKeysAreChanged(t *testing.T) {
	url := startCluster(t, 1).url()
	j, _ := opened(t, url, firstKey)
	mustAppend(t, j, 0, 1)
	mustClose(t, j)
	for name, ks := range map[string][]Key{"no key": nil, "another key": {secondKey}} {
		other, err := Open(t.Context(), Options{Dir: t.TempDir(), URL: url, Keys: ks})
		if err == nil {
			other.Close()
			t.Fatalf("%s: the log is opened", name)
		}
		if t.Logf("%s: %v", name, err); !strings.Contains(err.Error(), "key") {
			t.Errorf("%s: %v", name, err)
		}
	}
	j, bad := opened(t, url, secondKey, firstKey)
	mustAppend(t, j, 0, 2)
	if got := fmt.Sprint(numbers(t, j, 2)); got != "[1 2]" || len(*bad) != 0 {
		t.Errorf("got %s, %v", got, *bad)
	}
	if _, err := j.Renew(t.Context()); err != nil { // a new identity changes nothing about it
		t.Fatal(err)
	}
	mustClose(t, j)
	j, bad = opened(t, url, secondKey) // the old key is no longer named: what it signed is passed
	if got := fmt.Sprint(numbers(t, j, 2)); got != "[0 2]" || len(*bad) != 1 {
		t.Errorf("got %s, %v", got, *bad)
	}
}

// An entry of a newer program is never passed: reading ends there. Without a key it is told from garbage by
// the header that all our entries have.
func TestNewerEntriesAreNotPassed(t *testing.T) {
	for name, ks := range map[string][]Key{"signed": {firstKey}, "without a key": nil} {
		t.Run(name, func(t *testing.T) {
			url := startCluster(t, 1).url()
			j, bad := opened(t, url, ks...)
			publish(t, url, usual.subject(0), content(t, codecVersion+1), nil) // garbage that looks like it
			m := &nats.Msg{Data: content(t, codecVersion+1), Header: nats.Header{previousHeader: {"1"}}}
			j.sign(0, m)
			publish(t, url, usual.subject(0), m.Data, m.Header)
			mustAppend(t, j, 0, 1)
			var at []uint64
			err := j.Read(t.Context(), 0, 0, func(e Entry) error { at = append(at, e.Position); return nil })
			if !errors.Is(err, ErrNewer) || !errors.Is(err, ErrEntry) || fmt.Sprint(at) != "[1]" || len(*bad) != 1 {
				t.Errorf("read %v, passed %v, then %v", at, *bad, err)
			}
			t.Log(err)
		})
	}
}

// What the last holder has told is believed only where it is signed: a forged record would keep people from
// being told.
func TestForgedRecordsOfWhatWasToldAreNotBelieved(t *testing.T) {
	url := startCluster(t, 1).url()
	j, _ := opened(t, url, firstKey)
	if err := j.SetTold(t.Context(), []byte("told")); err != nil {
		t.Fatal(err)
	}
	mustClose(t, j)
	if j, _ = opened(t, url, firstKey); string(j.Told()) != "told" {
		t.Errorf("read %q", j.Told())
	}
	if _, err := j.told.kv.Put(t.Context(), toldKey, []byte("everything")); err != nil {
		t.Fatal(err)
	}
	mustClose(t, j)
	if j, _ = opened(t, url, firstKey); j.Told() != nil {
		t.Errorf("believed %q", j.Told())
	}
	if err := j.SetTold(t.Context(), []byte("anew")); err != nil {
		t.Error(err)
	}
}

func mustClose(t *testing.T, j *JetStream) {
	t.Helper()
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
}

// Whatever anybody publishes, nothing panics, and with a key nothing is taken that was not signed with it.
func FuzzEntry(f *testing.F) {
	j := &JetStream{opt: Options{Keys: []Key{firstKey}}}
	plain := &JetStream{}
	m := &nats.Msg{Data: []byte{8, 1}, Header: nats.Header{previousHeader: {"1"}}}
	j.sign(3, m)
	genuine := m.Header.Get(macHeader)
	f.Add(genuine, "1", []byte{8, 1}, uint64(9))
	f.Add("", "", []byte("rubbish"), uint64(1))
	f.Add(firstKey.name+":00", "x", []byte{8, 2}, uint64(1))
	f.Fuzz(func(t *testing.T, mac, previous string, data []byte, position uint64) {
		h := nats.Header{macHeader: {mac}, previousHeader: {previous}}
		if _, err := j.decode(3, position, h, data); err == nil && (mac != genuine || previous != "1" || string(data) != "\x08\x01") {
			// upper case digits are the same MAC
			if !strings.EqualFold(mac, genuine) || previous != "1" || string(data) != "\x08\x01" {
				t.Errorf("%q with MAC %q is taken", data, mac)
			}
		}
		_, _ = plain.decode(3, position, h, data)
		if n, err := keys(j.opt.Keys).sinceOf(mac); err == nil {
			t.Errorf("%q says %d", mac, n)
		}
	})
}
