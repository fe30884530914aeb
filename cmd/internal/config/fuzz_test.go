package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Whatever a file holds, Parse gives a configuration that keeps its promises, or faults
// of a line each.
func FuzzParse(f *testing.F) {
	files, _ := filepath.Glob("testdata/*.yaml")
	bad, _ := filepath.Glob("testdata/bad/*.yaml")
	for _, path := range append(files, bad...) {
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(data), true)
		f.Add(string(data), false)
	}
	f.Add("stations: &a [*a]", true)
	f.Add("? [a]\n: b\n", true)
	f.Add("stations:\n  - &x {id: a, booster: *x}\n", true)
	f.Fuzz(func(t *testing.T, text string, noBroker bool) {
		c, err := Parse([]byte(text), "fuzz.yaml", Options{NoBroker: noBroker})
		if err != nil {
			faults := unjoin(err)
			if len(faults) == 0 {
				t.Fatalf("an error without a fault: %v", err)
			}
			for _, e := range faults {
				if s := e.Error(); strings.ContainsAny(s, "\n\r\x00") || e.Problem == "" || e.Line < 0 {
					t.Fatalf("fault %q", s)
				}
			}
			return
		}
		checkPromises(t, c, noBroker)
	})
}

// checkPromises checks what the rest of the program relies on.
func checkPromises(t *testing.T, c *Config, noBroker bool) {
	t.Helper()
	if noBroker && len(c.Stations) == 0 || c.Lateness <= 0 || c.Log.Keep <= 0 || c.MQTT.MaxPacket <= 0 {
		t.Fatalf("%+v", c)
	}
	if !noBroker && len(c.Stations) > 0 && (c.MQTT.Broker == "" || len(c.MQTT.Topics)+len(c.MQTT.Fixed) == 0) {
		t.Fatalf("no broker or no topics: %+v", c.MQTT)
	}
	seen := map[string]bool{}
	for i := range c.Stations {
		p := &c.Stations[i].Plate
		if s := c.Site(p.Key.Site); s == nil || s.Zone == nil {
			t.Fatalf("the site of %v is missing", p.Key)
		}
		if !isName(p.Key.Station) || !isName(p.Key.Site) || seen[p.Key.String()] {
			t.Fatalf("key %v", p.Key)
		}
		seen[p.Key.String()] = true
		for _, v := range []float64{p.SweptDrive, p.SweptBoost, p.AreaRatio, p.StrokeLen, p.DriveBore, float64(p.Set), p.MaxRate,
			p.TankVolume, float64(p.Relief), float64(p.TankPS), p.SupplyBore, p.SupplyLength, float64(p.RegulatorSet),
			float64(p.Required), float64(p.HoseLimit), p.LeakLimit, p.BaseDemand, float64(p.DriveSet), p.SagLimit, float64(p.Ambient), p.AirTemperature} {
			if !(v >= 0 && v < 1e12) {
				t.Fatalf("a figure of %v is %g", p.Key, v)
			}
		}
		if p.Lateness != c.Lateness || c.Stations[i].Revision != Revision(p) {
			t.Fatalf("plate %+v", p)
		}
	}
}
