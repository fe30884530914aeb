package live

// queue keeps the newest of what was put into it, at most so many.
type queue[T any] struct {
	most int
	all  uint64 // ever
	kept []T    // a ring once it is full
}

func (q *queue[T]) put(v T) {
	if q.most == 0 {
		return
	}
	if len(q.kept) < q.most {
		q.kept = append(q.kept, v)
	} else {
		q.kept[q.all%uint64(q.most)] = v
	}
	q.all++
}

// since appends to out, oldest first, what came after the first n that were ever put and
// is still kept, where keep says so.
func (q *queue[T]) since(out []T, n uint64, keep func(T) bool) []T {
	first := q.all - uint64(len(q.kept))
	for i := max(n, first); i < q.all; i++ {
		if v := q.kept[i%uint64(q.most)]; keep == nil || keep(v) {
			out = append(out, v)
		}
	}
	return out
}

// drop forgets what is kept.
func (q *queue[T]) drop() { q.kept, q.all = q.kept[:0], 0 }
