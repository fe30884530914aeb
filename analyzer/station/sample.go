package station

// Stamp tells whose clock gave a sample its time.
type Stamp uint8

// The stamps. Their numbers are part of the log format.
const (
	StampDevice  Stamp = iota // the sensor's or gateway's clock
	StampArrival              // our clock, when the message arrived
)

// Block is a run of samples of one channel in increasing time. Values are SI: Pa
// gauge, counts, 0/1, K, m³/s ANR. Regular blocks have Step > 0 (or a single value)
// and no Times; irregular ones carry a time for each value.
type Block struct {
	Channel Channel
	Stamp   Stamp
	Start   Instant   // time of Values[0]
	Step    int64     // ns between values, unused when Times is set
	Times   []Instant // nil for a regular block
	Values  []float64
}

// Len gives the number of samples.
func (b *Block) Len() int { return len(b.Values) }

// At gives the time of sample i.
func (b *Block) At(i int) Instant {
	if b.Times != nil {
		return b.Times[i]
	}
	return b.Start + Instant(int64(i)*b.Step)
}

// Record is one entry of the sample log, the only input of analyzer and rules:
// exactly one of Blocks, Command, Epoch and Tick is set. Arrival is the time at
// which it reached us; Key is empty for ticks, which concern a whole partition.
type Record struct {
	Key     Key
	Arrival Instant
	Blocks  []Block
	Command *Command
	Epoch   *Epoch
	Tick    bool
}

// Samples gives the number of samples in the record's blocks.
func (r *Record) Samples() int {
	n := 0
	for i := range r.Blocks {
		n += r.Blocks[i].Len()
	}
	return n
}

// Epoch states that from here on the station has this plate data and policy, or is no longer
// configured.
type Epoch struct {
	Revision string // digest of the plate
	Plate    Plate
}

// removed is the revision of an epoch from which on its station is not configured. Digests of
// plates are longer.
const removed = "removed"

// Removal returns the epoch that takes a station out of the configuration.
func Removal(k Key) *Epoch { return &Epoch{Revision: removed, Plate: Plate{Key: k}} }

// Removed reports whether the station is no longer configured from here on.
func (e *Epoch) Removed() bool { return e.Revision == removed }
