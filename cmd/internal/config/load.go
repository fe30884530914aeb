package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

// Options of reading a configuration.
type Options struct {
	// NoBroker is for the replay of recordings: broker, topics, sites and version may be
	// left out, and files that the broker's connection needs are not looked at.
	NoBroker bool
}

// Load reads a configuration file. The error holds all faults, joined, each an *Error,
// in the order of their lines; or says why the file cannot be read.
func Load(path string, opt Options) (*Config, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read configuration: %w", err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, MaxFile+1))
	if err != nil {
		return nil, fmt.Errorf("cannot read configuration: %w", err)
	}
	c, err := Parse(data, path, opt)
	if err != nil {
		return nil, err
	}
	d := &decoder{file: path, opt: opt, cfg: c, warnings: c.Warnings}
	d.warnWritable()
	c.Warnings = d.warnings
	return c, nil
}

// Parse reads a configuration. The name stands in messages, and relative paths in the
// file are meant from the name's directory.
func Parse(data []byte, name string, opt Options) (*Config, error) {
	d := &decoder{file: name, dir: filepath.Dir(name), opt: opt, cfg: Default(),
		ambient: map[string]station.Absolute{}, reading: map[string]station.Reading{}, temperature: map[string]float64{}, lines: map[station.Key]int{}, tanks: map[tankKey]*station.Plate{}}
	d.cfg.File = name
	root, fault := d.document(data)
	if fault != nil {
		return nil, errors.Join(fault)
	}
	if top := d.mapping(root, "", "version: 1"); top.node != nil || isNull(root) {
		d.top(top)
	}
	if d.nodes > maxNodes {
		problem := fmt.Sprintf("has more than %d entries once its aliases are followed", maxNodes)
		return nil, errors.Join(d.fault(nil, "", problem, "fewer aliases", ""))
	}
	if err := d.faults.join(name); err != nil {
		return nil, err
	}
	d.cfg.Warnings = d.warnings
	return d.cfg, nil
}

// document parses the YAML, exactly one document.
func (d *decoder) document(data []byte) (*yaml.Node, *Error) {
	if len(data) > MaxFile {
		return nil, d.fault(nil, "", fmt.Sprintf("is larger than %d bytes", MaxFile), "a configuration", "")
	}
	if n := pieces(data); n > maxPieces {
		return nil, d.fault(nil, "", fmt.Sprintf("has %d lines and list items, %d at most are read", n, maxPieces), "a configuration", "")
	}
	if line, problem := unreadable(data); line > 0 {
		return nil, d.fault(&yaml.Node{Line: line}, "", problem, "a YAML file in UTF-8", "")
	}
	dec := yaml.NewDecoder(bytes.NewReader(data))
	var doc, second yaml.Node
	switch err := dec.Decode(&doc); {
	case errors.Is(err, io.EOF):
		return nil, d.fault(&yaml.Node{Line: 1}, "", "is empty", "a configuration", "version: 1")
	case err != nil:
		return nil, d.syntax(err, data)
	}
	switch err := dec.Decode(&second); {
	case errors.Is(err, io.EOF):
		return doc.Content[0], nil
	case err != nil:
		return nil, d.syntax(err, data)
	}
	return nil, d.fault(&second, "", "holds a second YAML document", "one document a file", "")
}

var (
	lineInError   = regexp.MustCompile(`^line (\d+): `)
	anchorInError = regexp.MustCompile(`^unknown anchor '(.*)' referenced`)
)

// syntax gives the fault that the YAML parser met; it stops at the first.
func (d *decoder) syntax(err error, data []byte) *Error {
	text := strings.TrimPrefix(err.Error(), "yaml: ")
	at := &yaml.Node{}
	if m := lineInError.FindStringSubmatch(text); m != nil {
		at.Line, _ = strconv.Atoi(m[1])
		text = text[len(m[0]):]
	} else if m := anchorInError.FindStringSubmatch(text); m != nil {
		before, _, _ := bytes.Cut(data, []byte("*"+m[1]))
		at.Line = 1 + bytes.Count(before, []byte("\n"))
	}
	expected := "YAML (indented by spaces; a text that begins with a bracket or holds \": \" or \" #\" stands in quotes)"
	return d.fault(at, "", "is no valid YAML: "+strings.Join(strings.Fields(text), " "), expected, "")
}

// unreadable gives the first line that is no text, and what is wrong with it; 0 if all are.
func unreadable(data []byte) (line int, problem string) {
	line = 1
	for len(data) > 0 {
		r, n := utf8.DecodeRune(data)
		switch {
		case r == utf8.RuneError && n == 1:
			return line, "is not UTF-8 text"
		case r == '\n':
			line++
		case r < ' ' && r != '\t' && r != '\r' || r == 0x7f:
			return line, "holds a control character"
		}
		data = data[n:]
	}
	return 0, ""
}

// top reads the file's first level. Sites come before stations, which refer to them, and
// these before the topics, which refer to both.
func (d *decoder) top(m *mapping) {
	c := d.cfg
	d.version(m)
	d.http(m.mapping("http", "http: { listen: 127.0.0.1:8420 }"))
	broker := m.mapping("mqtt", "mqtt: { broker: tcp://127.0.0.1:1883 }")
	m.file("data", "/var/lib/strokewise", &c.Data)
	d.log(m.mapping("log", "log: { keep: 48h }"))
	d.refused(m.mapping("refused", "refused: { max_bytes: 1 GB }"))
	d.history(m.mapping("history", "history: { minutes: 90 d, hours: 5 y }"))
	quantity(m, "lateness", station.ParseDuration, atMost(5*minute, "5 min"), &c.Lateness)
	d.sites(m)
	d.stations(m)
	d.alarms(m)
	d.mqtt(broker, m)
	d.notify(m.mapping("notify", "notify: { webhook: { url: https://alarms.example/in } }"))
	d.influx(m.mapping("influx", influxExample))
	m.done(nil)
}

func (d *decoder) version(m *mapping) {
	var v string
	given := m.text("version", &v, "1", "version: 1")
	m.single("version", "", "").only("1", 1)
	switch {
	case given && v != "1":
		m.fail("version", quote(v)+" is a version that this program does not know", "1", "version: 1")
	case !m.has("version") && !d.opt.NoBroker:
		m.fail("version", "is missing", "the version of the file's format, 1", "version: 1")
	}
}
