package web

import (
	"strings"

	"strokewise/dashboards/board"
)

// notWatched is how a station is called that a fault of the program keeps from being watched.
const notWatched = "not watched"

// staleSince words since when nothing is known of a station.
func staleSince(s *board.Station) string {
	if s.Unwatched != nil {
		return notWatched + " since " + clock(s.Unwatched.Since)
	}
	return "no data since " + clock(s.SilentSince)
}

// capital begins a text with a capital letter.
func capital(text string) string { return strings.ToUpper(text[:1]) + text[1:] }
