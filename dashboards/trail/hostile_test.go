package trail

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"strokewise/deploy/hostile"
)

// Hostile texts stay in their cell of the CSV, and are no formula of a spreadsheet.
func TestHostileTextsStayInTheirCell(t *testing.T) {
	for name, text := range hostile.Texts {
		var out bytes.Buffer
		w := csv.NewWriter(&out)
		if err := w.Write([]string{Cell(text), "end"}); err != nil {
			t.Fatal(err)
		}
		w.Flush()
		rows, err := csv.NewReader(&out).ReadAll()
		if err != nil || len(rows) != 1 || len(rows[0]) != 2 || rows[0][1] != "end" || rows[0][0] != "" && strings.ContainsRune("=+-@\t\r", rune(rows[0][0][0])) {
			t.Errorf("%s: %q, %v", name, rows, err)
		}
	}
}
