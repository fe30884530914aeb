//go:build race

package accuracy

// raced is set under the race detector, which makes physics ten times as slow.
const raced = true
