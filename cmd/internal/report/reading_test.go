package report

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
)

// standing returns the report of a station that stands at 600 and 1000 kPa gauge for 150 s, read in a unit.
func standing(t *testing.T, read station.Reading) (*Report, string) {
	t.Helper()
	plate := station.Plate{Key: station.Key{Site: "s", Station: "x"}, Set: 1000e3, TankVolume: 0.1, Ambient: 100e3, Reading: read}
	u := pipeline.New(plate, "test")
	blocks := []station.Block{{Channel: station.InletPressure}, {Channel: station.OutletPressure}}
	for i := range int64(3000) {
		for k, v := range []float64{600e3, 1000e3} {
			blocks[k].Times = append(blocks[k].Times, station.Instant(1767225600e9+i*50*station.Millisecond))
			blocks[k].Values = append(blocks[k].Values, v)
		}
	}
	u.Samples(blocks, blocks[0].Times[2999])
	u.Flush()
	r := Build(u, station.ANR, 0, 0)
	r.Explain(u, station.ANR)
	var b bytes.Buffer
	if err := r.Table(&b); err != nil {
		t.Fatal(err)
	}
	return r, b.String()
}

// People read the table in their site's unit, programs read the JSON object in kPa. 1000 kPa is 10 bar by
// definition, and 145.0 psi with 6.894757 kPa a psi (NIST SP 811, appendix B.8).
func TestPeopleReadTheirUnit(t *testing.T) {
	for _, c := range []struct {
		read         station.Reading
		head, minute string
		key, input   string
	}{
		{station.ReadKPa, "outlet kPa gauge", "1000.0", "set_pressure_kpa", "set_pressure: 1000 kPa gauge"},
		{station.ReadBar, "outlet bar gauge", "10.000", "set_pressure_bar", "set_pressure: 10 bar gauge"},
		{station.ReadPSI, "outlet psi gauge", "145.0", "set_pressure_psi", "set_pressure: 145 psi gauge"},
	} {
		r, text := standing(t, c.read)
		for _, want := range []string{c.head, c.minute, c.key, c.input} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: no %q in\n%s", c.read, want, text)
			}
		}
		for _, foreign := range []string{"inlet kPa", "_kpa", " kPa gauge ("} {
			if c.read != station.ReadKPa && strings.Contains(text, foreign) {
				t.Errorf("%s: %q in\n%s", c.read, foreign, text)
			}
		}
		if p := r.Minutes[0].OutletKPa; p == nil || math.Abs(*p-1000) > 1e-9 {
			t.Errorf("%s: the JSON object's minute is %v, expected 1000 kPa", c.read, p)
		}
		if e := r.How["set_pressure_kpa"]; e == nil || e.Unit != "kPa gauge" && e.Unit != "kPa" {
			t.Errorf("%s: the JSON object explains the set pressure as %+v, expected kPa", c.read, e)
		}
	}
}
