package web

import (
	"strings"

	"strokewise/dashboards/board"
)

// filling says how far the past has come, "" while none is filled in.
func filling(p board.Past) string {
	if p.Stage == "" {
		return ""
	}
	text := "Filling in " + p.Stage + ": " + number(p.Done, 0) + " of " + number(p.All, 0) + " station-hours."
	if len(p.Ready) > 0 {
		text += " Done: " + strings.Join(p.Ready, ", ") + "."
	}
	return text
}
