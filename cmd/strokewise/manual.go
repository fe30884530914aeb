package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/alecthomas/kong"
)

type manCmd struct{}

// Run prints the manual page, from the text that --help prints.
func (manCmd) Run(e *env) error { return manual(e.out, e.model) }

// manual writes the page in the macros of man(7).
func manual(to io.Writer, m *kong.Application) error {
	var b strings.Builder
	fmt.Fprintf(&b, ".TH STROKEWISE 1 \"\" %s \"User commands\"\n", quoted("strokewise "+version()))
	fmt.Fprintf(&b, ".SH NAME\nstrokewise \\- monitor of compressed-air boost stations\n.SH SYNOPSIS\n.B strokewise\nCOMMAND [FLAGS]\n")
	fmt.Fprintf(&b, ".SH DESCRIPTION\n%s\n.SH FLAGS OF ALL COMMANDS\n", roff(m.Help))
	manualFlags(&b, m.Flags)
	b.WriteString(".SH COMMANDS\n")
	for _, leaf := range m.Leaves(true) {
		manualCommand(&b, leaf)
	}
	b.WriteString(exitCodes)
	_, err := io.WriteString(to, b.String())
	return err
}

// exitCodes are those of main.go.
const exitCodes = `.SH EXIT STATUS
.TP
.B 0
done
.TP
.B 1
something could not be done
.TP
.B 2
the command line cannot be understood
.TP
.B 3
a command was taken, and what becomes of it is not known yet
.TP
.B 4
another process holds the sample log
.TP
.B 130
interrupted before the end
`

func manualCommand(b *strings.Builder, n *kong.Node) {
	fmt.Fprintf(b, ".SS %s\n%s\n", quoted(n.Summary()), roff(n.Help))
	for _, p := range n.Positional {
		if p.Help != "" {
			fmt.Fprintf(b, ".TP\n.I %s\n%s\n", roff(p.Name), roff(p.Help))
		}
	}
	for p := n; p.Parent != nil; p = p.Parent {
		manualFlags(b, p.Flags)
	}
}

func manualFlags(b *strings.Builder, flags []*kong.Flag) {
	for _, f := range flags {
		if !f.Hidden {
			fmt.Fprintf(b, ".TP\n.B %s\n%s\n", roff(f.String()), roff(f.Help))
		}
	}
}

// roff returns text as running text of a page: no hyphen is a minus by chance, no line is a request.
func roff(s string) string {
	s = strings.NewReplacer(`\`, `\e`, "-", `\-`, "\n", " ").Replace(s)
	if strings.HasPrefix(s, ".") || strings.HasPrefix(s, "'") {
		return `\&` + s
	}
	return s
}

// quoted returns text as one argument of a request.
func quoted(s string) string { return `"` + strings.ReplaceAll(roff(s), `"`, `\(dq`) + `"` }
