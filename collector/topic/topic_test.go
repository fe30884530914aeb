package topic

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestMatch(t *testing.T) {
	for _, c := range []struct {
		pattern, topic string
		want           Fields
		ok             bool
	}{
		{"boost/{site}/{station}/{channel}", "boost/northdock/press-4/inlet_pressure", Fields{"northdock", "press-4", "inlet_pressure"}, true},
		{"{channel}/{station}", "cycles/press-4", Fields{"", "press-4", "cycles"}, true},
		{"boost/{station}", "boost/press-4", Fields{Station: "press-4"}, true},
		{"/a/{station}/", "/a/x/", Fields{Station: "x"}, true},
		{"boost/{site}/{station}/{channel}", "boost/northdock/press-4", Fields{}, false},
		{"boost/{site}/{station}/{channel}", "boost/northdock/press-4/inlet_pressure/raw", Fields{}, false},
		{"boost/{station}", "Boost/press-4", Fields{}, false},
		{"boost/{station}", "boost/", Fields{}, false},
		{"boost/{station}", "", Fields{}, false},
		{"hall2/mach-{station}/{channel}", "hall2/mach-press-4/cycles", Fields{Station: "press-4", Channel: "cycles"}, true},
		{"hall2/mach-{station}/{channel}", "hall2/mach-/cycles", Fields{}, false},
		{"hall2/mach-{station}/{channel}", "hall2/press-4/cycles", Fields{}, false},
		{"{site}.{station}.raw", "northdock.press-4.raw", Fields{Site: "northdock", Station: "press-4"}, true},
		{"{site}.{station}.raw", "northdock.press.4.raw", Fields{Site: "northdock", Station: "press.4"}, true},
		{"{site}.{station}.raw", "northdock.raw", Fields{}, false},
		{"{site}.{station}.raw", ".press-4.raw", Fields{}, false},
		{"urn:dev:{station}:{channel}", "urn:dev:press-4:cycles", Fields{Station: "press-4", Channel: "cycles"}, true},
	} {
		p, err := Compile(c.pattern)
		if err != nil {
			t.Fatalf("%s: %v", c.pattern, err)
		}
		got, ok := p.Match(c.topic)
		if got != c.want || ok != c.ok {
			t.Errorf("%s on %s: got %+v %v", c.pattern, c.topic, got, ok)
		}
	}
}

func TestFilter(t *testing.T) {
	p, err := Compile("boost/{site}/{station}/{channel}")
	if err != nil || p.Filter() != "boost/+/+/+" || !p.HasSite() || !p.HasChannel() {
		t.Errorf("filter %q, %v", p.Filter(), err)
	}
}

func TestBadPatterns(t *testing.T) {
	for _, bad := range []string{"", "boost/+/{station}", "boost/#", "boost", "{station}/{station}", "a/{sation}", "a/{site}{station}", "a/{station", "a/x}{station}",
		"$SYS/{station}", "a\x00/{station}", "\xff/{station}", strings.Repeat("a", 70000) + "/{station}"} {
		if _, err := Compile(bad); err == nil {
			t.Errorf("%.40q was taken", bad)
		}
	}
}

// What a pattern makes, it must read back.
func TestMatchReadsWhatThePatternMakes(t *testing.T) {
	p, err := Compile("a/{channel}/b/{station}/{site}")
	if err != nil {
		t.Fatal(err)
	}
	part := rapid.StringMatching(`[^/]{1,12}`)
	rapid.Check(t, func(rt *rapid.T) {
		f := Fields{part.Draw(rt, "site"), part.Draw(rt, "station"), part.Draw(rt, "channel")}
		got, ok := p.Match("a/" + f.Channel + "/b/" + f.Station + "/" + f.Site)
		if !ok || got != f {
			rt.Fatalf("got %+v %v, want %+v", got, ok, f)
		}
	})
}

func TestMatchDoesNotAllocate(t *testing.T) {
	p, _ := Compile("boost/{site}/{station}/{channel}")
	if n := testing.AllocsPerRun(100, func() { p.Match("boost/northdock/press-4/inlet_pressure") }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

func FuzzPattern(f *testing.F) {
	f.Add("boost/{site}/{station}/{channel}", "boost/a/b/c")
	f.Add("{station}", "/")
	f.Add("a//{station}", "a//x")
	f.Fuzz(func(t *testing.T, pattern, topic string) {
		p, err := Compile(pattern)
		if err != nil {
			return
		}
		got, ok := p.Match(topic)
		if ok && got.Station == "" {
			t.Errorf("%q matched %q without a station", pattern, topic)
		}
		if ok && strings.Count(topic, "/") != strings.Count(p.Filter(), "/") {
			t.Errorf("%q matched %q with another number of levels", pattern, topic)
		}
	})
}
