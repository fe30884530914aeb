package scene

// Plant is a running program.
type Plant struct{}
