package payload

import "strings"

// read reads one record and updates the base fields. It refuses what is no JSON; what is wrong with the
// record alone is noted in it.
func (rec *record) read(s *scanner, b *base) *Refusal {
	if !s.take('{') {
		return refuse(NotJSON, "expected a SenML record at byte %d; the message may be cut off", s.pos)
	}
	for first := true; !s.take('}'); first = false {
		if !first && !s.take(',') {
			return refuse(NotJSON, "expected , or } at byte %d; the message may be cut off", s.pos)
		}
		key, ok := s.str()
		if !ok || !s.take(':') {
			return refuse(NotJSON, "expected a label and a colon at byte %d; the message may be cut off", s.pos)
		}
		if r := rec.field(s, string(key), b); r != nil {
			return r
		}
	}
	return nil
}

func (rec *record) field(s *scanner, key string, b *base) *Refusal {
	switch key {
	case "bn":
		return s.text(key, &b.name)
	case "bu":
		return s.text(key, &b.unit)
	case "n":
		return s.text(key, &rec.name)
	case "u":
		return s.text(key, &rec.unit)
	case "bt":
		return rec.float(s, key, &b.time)
	case "bv":
		return rec.float(s, key, &b.val)
	case "t":
		return rec.float(s, key, &rec.time)
	case "v":
		rec.hasValue = true
		return rec.float(s, key, &rec.value)
	case "vb":
		return rec.boolean(s)
	case "bver":
		return version(s)
	case "s", "vs", "vd":
		rec.other = true
	default:
		if strings.HasSuffix(key, "_") && rec.why == nil {
			rec.why = refuse(BadSenML, "the label %.40q must be understood, and is not", key)
		}
	}
	return s.leaveOut(key)
}

// version refuses a pack of a version that is not understood: its fields may mean something else.
func version(s *scanner) *Refusal {
	v, r := s.value("bver")
	if r == nil && v > newest {
		return refuse(BadSenML, "SenML version %g is newer than %d, the one of RFC 8428", v, newest)
	}
	return r
}

func (rec *record) boolean(s *scanner) *Refusal {
	v, null, ok := s.literal()
	switch {
	case !ok || null:
		rec.lose(BadSenML, "vb must be true or false")
		if !ok {
			return s.leaveOut("vb")
		}
	default:
		rec.hasValue, rec.isBool = true, true
		if v {
			rec.value = 1
		}
	}
	return nil
}

// lose notes why the record cannot be read, the first time.
func (rec *record) lose(reason Reason, format string, args ...any) {
	if rec.why == nil {
		rec.why = refuse(reason, format, args...)
	}
}

// text reads a string.
func (s *scanner) text(key string, v *string) *Refusal {
	b, ok := s.str()
	if !ok {
		return refuse(NotJSON, "%s must be a string, at byte %d", key, s.pos)
	}
	*v = string(b)
	return nil
}

// float reads a number. Another kind of value loses the record.
func (rec *record) float(s *scanner, key string, v *float64) *Refusal {
	switch s.peek() {
	case '"', '[', '{', 't', 'f', 'n':
		if s.peek() != 'n' || !s.isNaN() {
			rec.lose(BadSenML, "%s must be a number", key)
			return s.leaveOut(key)
		}
	}
	x, r := s.value(key)
	if r != nil && r.Reason == NotFinite {
		rec.lose(NotFinite, "%s", r.Detail)
		return nil
	}
	*v = x
	return r
}

// isNaN reports whether nan, which is no JSON, is next.
func (s *scanner) isNaN() bool {
	return len(s.data)-s.pos >= 3 && string(s.data[s.pos:s.pos+3]) == "nan"
}
