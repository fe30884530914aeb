package main

import "strings"

// licence is one that we know by words that stand in its text alone.
type licence struct {
	name       string // of SPDX
	words      []string
	without    string
	permissive bool // may be linked into an Apache-2.0 binary with its text beside it
}

var licences = []licence{
	{name: "Apache-2.0", words: []string{"apache license", "version 2.0"}, permissive: true},
	{name: "MIT", words: []string{"permission is hereby granted, free of charge, to any person obtaining a copy"}, permissive: true},
	{name: "BSD-3-Clause", words: []string{"redistribution and use in source and binary forms", "endorse or promote products"}, permissive: true},
	{name: "BSD-2-Clause", words: []string{"redistribution and use in source and binary forms"}, without: "endorse or promote products", permissive: true},
	{name: "ISC", words: []string{"permission to use, copy, modify, and/or distribute this software for any purpose"}, permissive: true},
	{name: "Unlicense", words: []string{"free and unencumbered software released into the public domain"}, permissive: true},
	{name: "EPL-2.0", words: []string{"eclipse public license - v 2.0"}},
	{name: "EDL-1.0", words: []string{"eclipse distribution license v1.0"}, permissive: true}, // the text of BSD-3-Clause
	{name: "MPL-2.0", words: []string{"mozilla public license version 2.0"}},
	{name: "LGPL", words: []string{"gnu lesser general public license"}},
	{name: "GPL", words: []string{"gnu general public license", "free software foundation"}},
	{name: "AGPL", words: []string{"gnu affero general public license"}},
}

// licencesIn returns the names of the licences whose words stand in a text. A text that offers several
// has them all.
func licencesIn(text string) []string {
	text = strings.ToLower(strings.Join(strings.Fields(text), " "))
	var out []string
	for _, l := range licences {
		all := l.without == "" || !strings.Contains(text, l.without)
		for _, w := range l.words {
			all = all && strings.Contains(text, w)
		}
		if all {
			out = append(out, l.name)
		}
	}
	return out
}

func permissive(name string) bool {
	for _, l := range licences {
		if l.name == name {
			return l.permissive
		}
	}
	return false
}
