package main

import (
	"io"
	"strings"
	"testing"
)

func TestTable(t *testing.T) {
	in := `goos: linux
BenchmarkSamples/engine-2   836  2718534 ns/op  45.31 ns/sample  39 B/op  0 allocs/op
BenchmarkSamples/baseline-filter-detector-2   19248  124896 ns/op  2.082 ns/sample
BenchmarkEndToEnd/strokewise-2  3  1000 ns/op  59000 msg/s
BenchmarkEndToEnd/bare-paho-2  3  1000 ns/op  95000 msg/s
`
	var passed, out strings.Builder
	f := read(strings.NewReader(in), &passed)
	if passed.String() != in {
		t.Errorf("passed on %q", passed.String())
	}
	missed := table(&out, f)
	text := strings.Join(strings.Fields(out.String()), " ")
	for _, want := range []string{"45.31", "21.76", "0.6211 at least 0.8 MISSED"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in:\n%s", want, &out)
		}
	}
	if missed != len(budgets)-3 { // the analyzer's three are measured and met
		t.Errorf("%d missed", missed)
	}
	table(io.Discard, nil)
}
