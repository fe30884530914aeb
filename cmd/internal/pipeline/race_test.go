//go:build race

package pipeline_test

// raced is set under the race detector, which makes physics ten times as slow.
const raced = true
