package peers

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"testing"
)

// debianPython is the interpreter that Debian's packages are installed for; another one in
// the path would not see them.
const debianPython = "/usr/bin/python3"

// Scipy runs a Python program with NumPy and SciPy: "given" holds in, "answer" is what it must
// set, and is read into out. Both go as JSON, so NaN and infinities must not be in them.
func Scipy(t testing.TB, program string, in, out any) {
	t.Helper()
	if _, err := os.Stat(debianPython); err != nil {
		missing(t, "%s is not installed: apt-get install python3-scipy", debianPython)
	}
	if err := exec.Command(debianPython, "-c", "import scipy").Run(); err != nil {
		missing(t, "SciPy is not installed: apt-get install python3-scipy")
	}
	given, err := json.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	const before = "import json, sys, warnings\nwarnings.filterwarnings('ignore')\nimport numpy as np\nimport scipy\ngiven = json.load(sys.stdin)\n"
	const behind = "\njson.dump(answer, sys.stdout, default=lambda v: v.tolist())\n"
	cmd := exec.Command(debianPython, "-c", before+program+behind)
	cmd.Stdin = bytes.NewReader(given)
	var said, fault bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &fault
	if err := cmd.Run(); err != nil {
		t.Fatalf("the program of SciPy ended: %v\n%s", err, fault.String())
	}
	if err := json.Unmarshal(said.Bytes(), out); err != nil {
		t.Fatalf("cannot read the answer of SciPy: %v\n%.300s", err, said.String())
	}
}
