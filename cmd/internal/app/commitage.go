package app

import (
	"sync/atomic"
	"time"
)

// pending keeps since when a partition has something to do that it has not done. It is read without
// the partition's lock, which a commit that hangs holds.
type pending struct {
	dirty    atomic.Int64  // Unix time, ns, of the oldest conclusion that is not committed; 0: none
	waits    atomic.Int64  // the same of entries that are not worked off, since the last one that was
	position atomic.Uint64 // worked off
	saved    atomic.Uint64 // of the newest snapshot: the log is needed from there on
}

// appended notes that there is an entry to work off.
func (p *pending) appended(now time.Time) { p.waits.CompareAndSwap(0, now.UnixNano()) }

// begun notes where the partition begins to work.
func (p *partition) begun(now time.Time) {
	p.pending.position.Store(p.position)
	p.pending.saved.Store(p.saved)
	p.pending.appended(now)
}

// worked notes that the partition has come to its position.
func (p *partition) worked(dirty bool) {
	newest := p.position
	if p.newest != nil {
		newest = p.newest()
	}
	p.pending.worked(time.Now(), p.position, newest, dirty)
}

// worked notes an entry that was worked off, and whether it left something to commit.
func (p *pending) worked(now time.Time, position, newest uint64, dirty bool) {
	p.position.Store(position)
	if position < newest {
		p.waits.Store(now.UnixNano())
	} else {
		p.waits.Store(0)
	}
	if dirty {
		p.dirty.CompareAndSwap(0, now.UnixNano())
	}
}

// committed notes that everything is stored.
func (p *pending) committed() { p.dirty.Store(0) }

// age returns for how long something has not been done, where the log's newest entry of the partition
// is known.
func (p *pending) age(now time.Time, newest uint64) time.Duration {
	var out time.Duration
	if t := p.dirty.Load(); t != 0 {
		out = now.Sub(time.Unix(0, t))
	}
	if t := p.waits.Load(); t != 0 && p.position.Load() < newest {
		out = max(out, now.Sub(time.Unix(0, t)))
	}
	return max(0, out)
}

// commitAge returns the age of the oldest thing that a partition has to commit, and the partition.
func (a *App) commitAge(now time.Time) (age time.Duration, partition int) {
	for n, p := range a.parts {
		if d := p.pending.age(now, a.samples.Newest(n)); d > age {
			age, partition = d, n
		}
	}
	return age, partition
}
