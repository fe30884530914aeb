package access

import (
	"cmp"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"slices"
	"sync"
	"time"
)

// Session is a login at rest: whoever reads it cannot use it, since only the cookie's digest is kept.
type Session struct {
	ID     string    `json:"id"`     // digest of what the cookie holds
	Serial string    `json:"serial"` // names the session whatever cookie it has
	User   string    `json:"user"`
	Stamp  string    `json:"stamp,omitempty"`  // of the user's password then
	Grant  *Grant    `json:"grant,omitempty"`  // of whoever is no user of the file: what the identity provider said
	From   string    `json:"from"`             // address
	Began  time.Time `json:"began"`            // the login
	Seen   time.Time `json:"seen"`             // the last use
	Proved time.Time `json:"proved,omitempty"` // the newest proof of who it is
}

// Lasting says how long sessions last.
type Lasting struct {
	Idle    time.Duration // without any use
	Longest time.Duration // whatever is done
	Fresh   time.Duration // for which a login counts as just done
}

// UsualLasting ends a session after an hour without use and a shift of twelve hours: common practice
// for a login by password (NIST SP 800-63B has 12 h and 30 min at its second level; a page that is
// seen counts as use here, so an hour is time away from it). Five minutes of freshness are own choice.
var UsualLasting = Lasting{Idle: time.Hour, Longest: 12 * time.Hour, Fresh: 5 * time.Minute}

const (
	mostSessions   = 5000
	mostOfUser     = 20
	seenEvery      = time.Minute // the store need not know the last use better
	idSize         = 32          // bytes of chance
	mostCookieText = 100
)

// ErrNoSession is for a cookie that names no session, or one that has ended.
var ErrNoSession = errors.New("no login, or it has ended")

// Sessions are the logins that have not ended.
type Sessions struct {
	lasting Lasting
	store   store

	mu       sync.Mutex
	key      []byte // of what forms and browsers carry
	sessions map[string]*Session
	used     map[string]time.Time // of tokens, by ID
	dirty    bool
	saved    time.Time
	fault    error // of the newest writing
}

// OpenSessions returns the sessions that a file keeps over restarts; it is made if there is none.
func OpenSessions(path string, l Lasting) (*Sessions, error) {
	s := &Sessions{lasting: l, store: store{path}, sessions: map[string]*Session{}, used: map[string]time.Time{}}
	k, err := s.store.read()
	if err != nil {
		return nil, err
	}
	s.key = k.Key
	if len(s.key) != idSize {
		s.key = chance()
	}
	for i := range k.Sessions {
		s.sessions[k.Sessions[i].ID] = &k.Sessions[i]
	}
	for id, at := range k.Used {
		s.used[id] = at
	}
	s.dirty = true
	return s, s.save()
}

func chance() []byte {
	b := make([]byte, idSize)
	_, _ = rand.Read(b) // it never fails
	return b
}

// Begin starts a session and returns what its cookie holds. was is the cookie that the browser had:
// its session ends, so that nobody's earlier cookie becomes a login.
func (s *Sessions) Begin(x Session, was string, now time.Time) (cookie string, err error) {
	cookie = base64.RawURLEncoding.EncodeToString(chance())
	x.ID, x.Serial, x.Began, x.Seen = digest(cookie), rand.Text(), now, now
	if x.Grant == nil { // else the provider said when it was proved
		x.Proved = now
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.sessions, digest(was))
	s.prune(now)
	s.makeRoom(x.User)
	s.sessions[x.ID] = &x
	s.dirty = true
	return cookie, s.save()
}

// makeRoom ends the sessions that were not used for longest where there are too many.
func (s *Sessions) makeRoom(user string) {
	s.drop(mostOfUser-1, func(x *Session) bool { return x.User == user })
	s.drop(mostSessions-1, func(*Session) bool { return true })
}

// drop ends the oldest sessions of a kind beyond so many.
func (s *Sessions) drop(most int, of func(*Session) bool) {
	var list []*Session
	for _, x := range s.sessions {
		if of(x) {
			list = append(list, x)
		}
	}
	slices.SortFunc(list, func(a, b *Session) int { return a.Seen.Compare(b.Seen) })
	for _, x := range list[:max(len(list)-most, 0)] {
		delete(s.sessions, x.ID)
	}
}

// over reports whether a session has ended by time. A clock that was set back ends it too.
func (s *Sessions) over(x *Session, now time.Time) bool {
	const back = time.Minute
	return now.Sub(x.Seen) >= s.lasting.Idle || now.Sub(x.Began) >= s.lasting.Longest || x.Began.Sub(now) > back
}

func (s *Sessions) prune(now time.Time) {
	for id, x := range s.sessions {
		if s.over(x, now) {
			delete(s.sessions, id)
			s.dirty = true
		}
	}
}

// Find returns the session of a cookie, and counts as use of it.
func (s *Sessions) Find(cookie string, now time.Time) (Session, error) {
	if cookie == "" || len(cookie) > mostCookieText {
		return Session{}, ErrNoSession
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	x, ok := s.sessions[digest(cookie)]
	if !ok {
		return Session{}, ErrNoSession
	}
	if s.over(x, now) {
		delete(s.sessions, x.ID)
		s.dirty = true
		return Session{}, errors.Join(ErrNoSession, s.save())
	}
	if now.After(x.Seen) {
		x.Seen = now
		s.dirty = true
	}
	if now.Sub(s.saved) >= seenEvery {
		s.saved = now
		_ = s.save() // a last use that is lost ends a session early, no more; Fault says so
	}
	return *x, nil
}

// Fresh reports whether a session's login was just done.
func (s *Sessions) Fresh(x *Session, now time.Time) bool {
	age := now.Sub(x.Proved)
	return age >= 0 && age < s.lasting.Fresh
}

// Prove notes that whoever has the session has shown anew who it is, and returns the cookie that
// takes the place of the one it had.
func (s *Sessions) Prove(cookie string, now time.Time) (string, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	x, ok := s.sessions[digest(cookie)]
	if !ok || s.over(x, now) {
		return "", ErrNoSession
	}
	delete(s.sessions, x.ID)
	cookie = base64.RawURLEncoding.EncodeToString(chance())
	x.ID, x.Seen, x.Proved = digest(cookie), now, now
	s.sessions[x.ID] = x
	s.dirty = true
	return cookie, s.save()
}

// End ends the session of a cookie.
func (s *Sessions) End(cookie string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.sessions, digest(cookie))
	s.dirty = true
	return s.save()
}

// EndAll ends all sessions of a user and returns how many there were.
func (s *Sessions) EndAll(user string) (n int, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for id, x := range s.sessions {
		if x.User == user {
			delete(s.sessions, id)
			n++
		}
	}
	s.dirty = s.dirty || n > 0
	return n, s.save()
}

// Of returns the sessions of a user that have not ended, the newest use first.
func (s *Sessions) Of(user string, now time.Time) []Session {
	return slices.DeleteFunc(s.All(now), func(x Session) bool { return x.User != user })
}

// All returns the sessions that have not ended, by user, the newest use first.
func (s *Sessions) All(now time.Time) []Session {
	s.mu.Lock()
	defer s.mu.Unlock()
	var out []Session
	for _, x := range s.sessions {
		if !s.over(x, now) {
			out = append(out, *x)
		}
	}
	slices.SortFunc(out, func(a, b Session) int { return cmp.Or(cmp.Compare(a.User, b.User), b.Seen.Compare(a.Seen)) })
	return out
}

// Mark returns what a form must carry so that only our own pages can send it: a digest of what
// identifies the reader, with a key that never leaves the program.
func (s *Sessions) Mark(of string) string {
	m := hmac.New(sha256.New, s.key)
	m.Write([]byte(of))
	return base64.RawURLEncoding.EncodeToString(m.Sum(nil))
}

// Marked reports whether a mark is that of what identifies the reader.
func (s *Sessions) Marked(of, mark string) bool { return hmac.Equal([]byte(s.Mark(of)), []byte(mark)) }

// Use notes that a token was used.
func (s *Sessions) Use(token string, now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if now.Sub(s.used[token]) >= seenEvery {
		s.used[token], s.dirty = now, true
		_ = s.save() // Fault says so
	}
}

// Fault returns why sessions could not be written the last time.
func (s *Sessions) Fault() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.fault
}
