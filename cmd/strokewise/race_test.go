//go:build race

package main

// floodRate is how many messages a second a loaded test sends: the race detector makes the
// program several times slower, and a backlog that grows for ever tests nothing.
const floodRate = 2_000

const raced = true
