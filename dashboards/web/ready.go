package web

import (
	"errors"
	"strings"
)

// errRestoring is the reason while the board has not been restored.
var errRestoring = errors.New("the history is being restored: the stations shown are not complete")

// ready gives why the pages are not complete, nil if they are.
func (s *site) ready() error {
	var err error
	if s.Ready != nil {
		err = s.Ready()
	}
	if err == nil && !s.Board.Ready() {
		err = errRestoring
	}
	return err
}

// reasons gives an error's lines, each of which is one reason.
func reasons(err error) []string {
	if err == nil {
		return nil
	}
	var lines []string
	for line := range strings.Lines(err.Error()) {
		if line = strings.TrimSpace(line); line != "" {
			lines = append(lines, line)
		}
	}
	if lines == nil {
		lines = []string{"not ready, without a reason given"}
	}
	return lines
}
