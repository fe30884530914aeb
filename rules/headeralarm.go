package rules

import (
	"embed"
	"slices"

	"strokewise/analyzer/station"
)

// HeaderLow is the alarm of a header, and the name that a station gives to its own reading
// of the same.
const HeaderLow = "header-low"

//go:embed headers/*.yaml
var shippedHeader embed.FS

// headerSet is the catalogue of headers.
var headerSet = shipSet("headers/header-low.yaml")

func shipSet(name string) []Definition {
	text, err := shippedHeader.ReadFile(name)
	if err != nil {
		panic("BUG: the headers' alarms are not in the program: " + err.Error())
	}
	defs, err := parse(name, text)
	if err != nil {
		panic("BUG: the headers' alarms have faults: " + err.Error())
	}
	return defs
}

// HeaderCatalogue returns the definitions of the alarms of headers and sites.
func HeaderCatalogue() []Definition { return slices.Concat(headerSet, siteSet) }

// DefinitionOf gives the definition of an alarm of a station or header, as shipped.
func DefinitionOf(k station.Key, alarm string) (Definition, bool) {
	set := catalogue
	if _, ok := k.Header(); ok {
		set = headerSet
	}
	if k.WholeSite() {
		set = siteSet
	}
	for i := range set {
		if set[i].Name == alarm {
			return set[i], true
		}
	}
	return Definition{}, false
}

// explained are the alarms of stations that a low header explains; none of them is
// fail-safe. They keep their life, but nobody is told of each.
var explained = []string{"supply-undersized", "supply-restricting", "starved", "outlet-low", "capacity-short",
	"set-out-of-reach", "charge-slow", HeaderLow}

// signs are those of them that count as signs of a low header where the inlet's fall was
// too slow to be seen. The others have more causes than one at the station itself.
var signs = []string{"starved", HeaderLow}

// Explainable tells whether a low header may explain an alarm of a station.
func Explainable(alarm string) bool { return slices.Contains(explained, alarm) }
