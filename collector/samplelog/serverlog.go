package samplelog

import (
	"context"
	"fmt"
	"log/slog"
	"sync/atomic"
)

// serverLog passes on the faults that the embedded server reports: damaged files, a full disk,
// a slow one. The rest is of no use to anybody here.
type serverLog struct {
	log    *slog.Logger
	failed atomic.Bool            // it reported an error; those of storing are not answered otherwise
	fatal  atomic.Pointer[string] // why it cannot work
}

func (s *serverLog) say(level slog.Level, format string, v []any) {
	s.log.Log(context.Background(), level, "the sample log's server reports", slog.String("what", fmt.Sprintf(format, v...)))
}

func (s *serverLog) Warnf(format string, v ...any) { s.say(slog.LevelWarn, format, v) }
func (s *serverLog) Errorf(format string, v ...any) {
	s.failed.Store(true)
	s.say(slog.LevelError, format, v)
}
func (s *serverLog) Fatalf(format string, v ...any) {
	what := fmt.Sprintf(format, v...)
	s.fatal.Store(&what)
}
func (*serverLog) Noticef(string, ...any) {}
func (*serverLog) Debugf(string, ...any)  {}
func (*serverLog) Tracef(string, ...any)  {}
