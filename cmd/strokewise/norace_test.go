//go:build !race

package main

// floodRate is how many messages a second a loaded test sends.
const floodRate = 12_000

const raced = false
