package engine

// known returns what of it was learned, for a new stretch of samples.
func (x *edges) known() edges {
	return edges{Limit: x.Limit, Starts: x.Starts, Deep: deepStart{P: x.Deep.P, N: x.Deep.N, Known: x.Deep.Known}}
}
