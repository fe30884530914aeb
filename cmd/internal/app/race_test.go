//go:build race

package app

// raced is set under the race detector, which makes everything ten times as slow.
const raced = true
