package samplelog

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"

	"github.com/minio/highwayhash"
)

// After a kill the embedded server reads its files anew, and cuts a file off at the first record
// whose checksum is wrong: one changed bit costs up to 8 MiB of entries that are whole. After a clean
// end it does so when it comes to a record whose length is wrong. mend overwrites what lies between
// two whole records with an erased record, as the server itself does for an entry that is erased, so
// that only the damaged entries are lost.
//
// It relies on the record format of the server's file store, which is not documented as stable. The
// risk is bounded: a file is touched only between records whose checksums hold, with their keyed hash
// of 64 bits, and there only bytes that the server would cut away together with all that follows. If
// the format changes, no record is whole, and nothing is touched.
const (
	mendBytes  = 256 << 20 // newest bytes that are looked at: all that is not analysed yet lies there, and reading them takes less than a second
	recordHead = 22        // length, position, time, length of the subject
	recordHash = 8
	leastBytes = recordHead + recordHash
	mostBytes  = 16 << 20 // of a record: above a whole file, which one erased record may fill
	mostName   = 64       // bytes of a subject

	withHeaders = 1 << 31 // in the length
	erasedBit   = 1 << 63 // in the position
	tombBit     = 1 << 62
)

// mend mends the newest files of the stream under a server's folder, before a server opens them, and
// returns in how many places.
func mend(store string, log *slog.Logger) (places int, err error) {
	all, err := filepath.Glob(filepath.Join(store, "jetstream", "*", "streams", usualNames.stream, "msgs", "*.blk"))
	if err != nil {
		return 0, err
	}
	slices.SortFunc(all, func(a, b string) int { return cmp.Compare(number(b), number(a)) })
	left := int64(mendBytes)
	for _, path := range all {
		if i, err := os.Stat(path); err != nil || i.Size() > left {
			return places, err
		} else {
			left -= i.Size()
		}
		n, err := mendFile(path)
		if err != nil {
			return places, fmt.Errorf("cannot mend %q: %w", path, err)
		}
		places += n
		if n > 0 {
			log.Error("a file of the sample log is damaged; the entries behind the damage are kept", slog.String("file", path), slog.Int("places", n))
		}
	}
	return places, nil
}

// block is a file of records.
type block struct {
	data []byte
	key  [sha256.Size]byte
}

// number returns the number in a file's name.
func number(path string) (n int) {
	fmt.Sscanf(filepath.Base(path), "%d.blk", &n)
	return n
}

// keyOf returns the key of a file's checksums.
func keyOf(path string) [sha256.Size]byte {
	return sha256.Sum256(fmt.Appendf(nil, "%s-%d", usualNames.stream, number(path)))
}

// mendFile mends one file and returns in how many places.
func mendFile(path string) (places int, err error) {
	b := block{key: keyOf(path)}
	if b.data, err = os.ReadFile(path); err != nil {
		return 0, err
	}
	var f *os.File
	var last uint64 // position of the newest whole record
	for at := 0; at < len(b.data); {
		if n, position := b.whole(at); n > 0 {
			at, last = at+n, max(last, position)
			continue
		}
		to, next := b.resume(at, last)
		if to == 0 || last == 0 && next == 1 { // no whole record follows: an entry that was being written, or all is lost
			break
		}
		if f == nil {
			if f, err = os.OpenFile(path, os.O_WRONLY, 0); err != nil {
				return places, err
			}
			defer f.Close()
		}
		if _, err := f.WriteAt(b.erased(to-at, gone(last, next)), int64(at)); err != nil {
			return places, err
		}
		places++
		at = to
	}
	if f != nil {
		err = f.Sync()
	}
	return places, err
}

// gone returns the position that an erased record between two others has. It is 0, which stands for
// none, where no entry is missing between them: then a note of a removal was damaged.
func gone(last, next uint64) uint64 {
	switch {
	case last == 0:
		return next - 1
	case next == last+1:
		return 0
	}
	return last + 1
}

// whole returns the length of a record and its position, 0 where there is no whole one. The position
// of a record that only notes another one's removal is 0.
func (b *block) whole(at int) (n int, position uint64) {
	if at+leastBytes > len(b.data) {
		return 0, 0
	}
	h := b.data[at : at+recordHead]
	length := binary.LittleEndian.Uint32(h)
	n, name := int(length&^withHeaders), int(binary.LittleEndian.Uint16(h[20:]))
	body := at + recordHead + name
	if length&withHeaders != 0 {
		body += 4
	}
	if n < leastBytes || n > mostBytes || name > mostName || at+n > len(b.data) || body > at+n-recordHash {
		return 0, 0
	}
	sum := b.sum(h[4:20], b.data[at+recordHead:at+recordHead+name], b.data[body:at+n-recordHash])
	if sum != [recordHash]byte(b.data[at+n-recordHash:at+n]) {
		return 0, 0
	}
	if position = binary.LittleEndian.Uint64(h[4:]); position&tombBit != 0 {
		return n, 0
	}
	return n, position &^ erasedBit
}

func (b *block) sum(parts ...[]byte) (out [recordHash]byte) {
	h, err := highwayhash.New64(b.key[:])
	if err != nil {
		panic("BUG: " + err.Error()) // the key's length is right
	}
	for _, p := range parts {
		h.Write(p)
	}
	h.Sum(out[:0])
	return out
}

// resume returns where the next whole record behind a damaged one begins, and its position; 0 where
// there is none with a position above last.
func (b *block) resume(at int, last uint64) (int, uint64) {
	for to := at + leastBytes; to+leastBytes <= len(b.data); to++ {
		position := binary.LittleEndian.Uint64(b.data[to+4:]) &^ erasedBit
		if position <= last || last > 0 && position-last > mostBytes/leastBytes {
			continue // no file holds so many
		}
		if n, position := b.whole(to); n > 0 && position > last {
			return to, position
		}
	}
	return 0, 0
}

// erased returns a record of n bytes that holds nothing.
func (b *block) erased(n int, position uint64) []byte {
	out := make([]byte, n)
	binary.LittleEndian.PutUint32(out, uint32(n))
	binary.LittleEndian.PutUint64(out[4:], position|erasedBit)
	sum := b.sum(out[4:20], out[recordHead:n-recordHash])
	copy(out[n-recordHash:], sum[:])
	return out
}
