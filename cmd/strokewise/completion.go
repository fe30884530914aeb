package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

type completionCmd struct{}

// Run prints the script, from the commands and flags that --help lists.
func (completionCmd) Run(e *env) error { return completion(e.out, e.model) }

// completion writes a script for bash: it walks the words up to the cursor to find the command, and
// offers what that one takes. Names of files are left to the shell.
func completion(to io.Writer, m *kong.Application) error {
	var steps, words, values strings.Builder
	walk(m.Node, "", nil, func(path string, n *kong.Node, flags []*kong.Flag) {
		if path != "" {
			fmt.Fprintf(&steps, "\t\t'%s') path='%s' ;;\n", path, path)
		}
		var offer []string
		for _, c := range n.Children {
			offer = append(offer, c.Name)
		}
		for _, f := range flags {
			offer = append(offer, "--"+f.Name)
			if enum := f.EnumSlice(); f.Enum != "" {
				fmt.Fprintf(&values, "\t'%s --%s') words='%s' ;;\n", path, f.Name, strings.Join(enum, " "))
			}
		}
		fmt.Fprintf(&words, "\t'%s') words='%s' ;;\n", path, strings.Join(offer, " "))
	})
	_, err := fmt.Fprintf(to, completionScript, steps.String(), words.String(), values.String())
	return err
}

// walk calls do for a node and all below it, with its path, words after a blank each, and its flags
// with those above it.
func walk(n *kong.Node, path string, above []*kong.Flag, do func(string, *kong.Node, []*kong.Flag)) {
	flags := slices.Clone(above)
	for _, f := range n.Flags {
		if !f.Hidden {
			flags = append(flags, f)
		}
	}
	do(path, n, flags)
	for _, c := range n.Children {
		if !c.Hidden && c.Type == kong.CommandNode {
			walk(c, path+" "+c.Name, flags, do)
		}
	}
}

const completionScript = `# Completion of strokewise for bash; printed by strokewise completion.
_strokewise() {
	local path='' word words='' cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD-1]}
	for word in "${COMP_WORDS[@]:1:COMP_CWORD-1}"; do
		case "$path $word" in
%s		esac
	done
	case "$path" in
%s	esac
	case "$path $prev" in
%s	esac
	COMPREPLY=($(compgen -W "$words" -- "$cur"))
}
complete -o default -F _strokewise strokewise
`
