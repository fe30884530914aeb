package live

// queue keeps the newest of what was put into it, at most so many.
type queue[T any] struct {
	most  int
	all   uint64 // ever put
	kept  []T    // a ring once it is full
	begin int    // of the ring: the oldest
}

func (q *queue[T]) put(v T) {
	switch {
	case q.most == 0:
		return
	case len(q.kept) < q.most:
		q.kept = append(q.kept, v)
	default:
		q.kept[q.begin] = v
		q.begin = (q.begin + 1) % q.most
	}
	q.all++
}

// at gives what is kept, 0 the oldest.
func (q *queue[T]) at(i int) T { return q.kept[(q.begin+i)%len(q.kept)] }

// before puts what came earlier, in order of time, in front of what is kept, as far as
// there is room. It counts as put long ago.
func (q *queue[T]) before(list []T) {
	if room := q.most - len(q.kept); len(list) > room {
		list = list[len(list)-room:]
	}
	if len(list) > 0 {
		q.kept = append(append(make([]T, 0, len(list)+len(q.kept)), list...), q.kept...)
	}
}

// since appends to out, oldest first, what came after the first n that were ever put and
// is still kept, where keep says so.
func (q *queue[T]) since(out []T, n uint64, keep func(T) bool) []T {
	first := 0
	if newer := q.all - min(n, q.all); newer < uint64(len(q.kept)) {
		first = len(q.kept) - int(newer)
	}
	for i := first; i < len(q.kept); i++ {
		if v := q.at(i); keep == nil || keep(v) {
			out = append(out, v)
		}
	}
	return out
}

// every appends all that is kept where keep says so.
func (q *queue[T]) every(out []T, keep func(T) bool) []T {
	for i := range q.kept {
		if v := q.at(i); keep(v) {
			out = append(out, v)
		}
	}
	return out
}

// drop forgets what is kept.
func (q *queue[T]) drop() { q.kept, q.begin, q.all = q.kept[:0], 0, 0 }
