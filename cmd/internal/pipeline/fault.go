package pipeline

import (
	"fmt"
	"runtime/debug"

	"strokewise/analyzer/station"
)

// mostStack bounds the stack that a fault keeps, bytes.
const mostStack = 16 << 10

// Fault is a panic of one station's engine or alarms.
type Fault struct {
	Key   station.Key
	While string // what was worked off, as in "its samples"
	Panic string
	Stack string
}

// Error names the station.
func (f *Fault) Error() string {
	return fmt.Sprintf("the analysis of %s failed on %s (%s): this is a fault of strokewise, please report it with the station's plate data and samples", f.Key, f.While, f.Panic)
}

// Try runs f, which works on the unit of one station, and returns a *Fault where it panics. The
// unit is not usable after that. What ends the whole process in Go (no memory, a stack that
// overflows, an endless loop) Try cannot catch.
func Try(k station.Key, while string, f func()) (fault *Fault) {
	defer func() {
		if x := recover(); x != nil {
			stack := debug.Stack()
			fault = &Fault{Key: k, While: while, Panic: fmt.Sprint(x), Stack: string(stack[:min(len(stack), mostStack)])}
		}
	}()
	f()
	return nil
}
