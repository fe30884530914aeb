// Command run lists the modules that strokewise is built of: as a bill of materials on standard
// output, or into the table of a document.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"runtime"

	"strokewise/cmd/internal/dependencies"
)

func main() {
	version := flag.String("version", "", "of the program")
	table := flag.String("table", "", "document whose table is written anew; newer versions are asked for")
	reach := flag.String("reach", "", "address of a database of vulnerabilities: only looks whether it can be read")
	flag.Parse()
	if err := run(*version, *table, *reach); err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
}

func run(version, table, reach string) error {
	if reach != "" {
		return dependencies.Reach(context.Background(), reach)
	}
	list, err := dependencies.List(context.Background(), ".", "./cmd/strokewise", table != "")
	if err != nil {
		return err
	}
	if table == "" {
		out, err := dependencies.CycloneDX("strokewise", version, "Apache-2.0", runtime.Version(), list)
		if err == nil {
			_, err = os.Stdout.Write(out)
		}
		return err
	}
	text, err := os.ReadFile(table)
	if err != nil {
		return err
	}
	out, err := dependencies.Replace(string(text), dependencies.Table(list))
	if err != nil {
		return fmt.Errorf("%s: %w", table, err)
	}
	return os.WriteFile(table, []byte(out), 0o644)
}
