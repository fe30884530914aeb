package main

import (
	"context"
	"testing"
)

// A runtime that is closed for longer than other commands have to end is not ended by force; a command is.
func TestWhatServesEndsInItsOwnTime(t *testing.T) {
	for _, serves := range []bool{true, false} {
		code := -1
		e := &ending{exit: func(c int) { code = c }}
		if serves {
			e.serve()
		}
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		e.watch(ctx, func() {})
		if forced := code == exitInterrupted; forced == serves {
			t.Errorf("serves: %v; exit code %d", serves, code)
		}
	}
}
