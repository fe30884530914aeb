// Package config reads the configuration: one YAML file with plate data and policy.
// Everything wrong with a file is reported at once, each fault with its line, its key,
// what was expected and an example. Nothing in the program writes the file.
package config

import (
	"net/netip"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/intake"
	mapped "strokewise/collector/mapping"
	"strokewise/rules"
)

// Bounds of a configuration.
const (
	MaxFile     = 16 << 20 // bytes
	MaxStations = 20_000
	maxNodes    = 500_000 // list items and mappings, after aliases are followed
	maxFaults   = 1000    // reported in one go
)

// Config is what a file says, in SI; what it leaves out has the value of Default, or is
// zero, which means unknown.
type Config struct {
	File     string // as it was named
	HTTP     HTTP
	MQTT     MQTT
	Data     string // directory: log, history database, lock
	Log      Log
	Refused  Refused
	History  History
	Lateness time.Duration // how far the watermark stays behind
	Sites    []Site
	Stations []Station
	Notify   Notify
	Influx   Influx
	Warnings []*Error // what is odd but can be worked with

	policy *rules.Policy // what alarms says, nil: nothing
}

// MQTT says where samples come from.
type MQTT struct {
	Link
	More      []Link // brokers beside it, each with a connection of its own
	MaxPacket int64  // bytes
	Topics    []Topic
	Fixed     map[string]Fixed // by topic; it comes before Topics
}

// Link is a connection to a broker.
type Link struct {
	Name         string   // of one of several; empty: the main one
	Broker       string   // Embedded, or scheme://host:port; empty without a broker
	Others       []string // that take its place, in this order, where it cannot be reached
	ClientID     string
	User         string
	PasswordFile string
	TLS          TLS
	Site         string // of topics that name none
}

// Embedded is the value of MQTT.Broker for the broker inside the process.
const Embedded = "embedded"

// Secure reports whether the broker is spoken to over TLS.
func (l *Link) Secure() bool { return tlsScheme(scheme(l.Broker)) }

// TLS holds the files of a TLS connection; all are PEM.
type TLS struct {
	CAFile   string // empty: the system's certificate authorities
	CertFile string // client certificate
	KeyFile  string
}

// Topic is a topic pattern and the way its payloads are read.
type Topic struct {
	Match        string
	Payload      string          // auto, scalar, block, senml, json, line or sparkplug
	PressureUnit float64         // Pa of one unit, for payloads that carry none
	Mapping      *mapped.Mapping // nil: none
	MaxAge       time.Duration   // of a time that a device sets
}

// Fixed maps one topic to a station. Channel is empty where the payload names channels.
type Fixed struct {
	Site, Station, Channel string
	Payload                string
	PressureUnit           float64 // Pa
	Mapping                *mapped.Mapping
	MaxAge                 time.Duration
}

// Log says how the sample log is kept.
type Log struct {
	Keep       time.Duration
	MaxBytes   int64
	SyncAlways bool   // survive power loss, at its cost
	URL        string // of an external cluster; empty: inside the process

	// At an external cluster:
	CredentialsFile, NKeyFile, TokenFile string // at most one, or User
	User, PasswordFile                   string
	TLS                                  TLS
	Prefix                               string   // of the names there; empty: the usual one
	MACKeyFile                           string   // entries are signed with it; empty: they are not
	MACOldKeyFiles                       []string // entries that were signed with these are taken too
}

// Secure reports whether TLS is configured for the external cluster.
func (l *Log) Secure() bool { return l.TLS != TLS{} }

// History says how long the database keeps what it holds. Totals and the audit stay.
type History struct {
	Minutes time.Duration // minutes and states
	Hours   time.Duration // hours and alarms
	// BackupKeyFile holds the key that backups are signed with; empty: they are not.
	BackupKeyFile string
}

// Site is a plant, or a part of it with its own time zone and air.
type Site struct {
	ID     string
	Zone   *time.Location // never nil
	Shifts []Shift
	Air    Air

	Reading station.Reading // unit of pressures in messages to people

	Holidays   []Holidays
	Exceptions []Exception
	Grace      time.Duration // between the end of a shift and the alarm on what is left charged
	Hold       bool          // stations stay charged between shifts by intent

	calendar  *station.Calendar  // of the above
	HeaderLow rules.HeaderPolicy // when many stations of a header are one alarm; zero: the usual
}

// Air is how a site states air volumes and what its air costs: from the first, and by tariffs from their dates on.
type Air struct {
	Reference station.Reference
	Rates
	Tariffs []Tariff // in order of From, each with what it takes over from the one before

	first   station.AirPrice // what plates carry of the above
	changes string
}

// Station is a boost station.
type Station struct {
	Plate    station.Plate
	Revision string // digest of the plate
}

// Notify says who is told of alarms.
type Notify struct {
	Pages         string         // address of our pages as people reach them, for links
	Addresses     []netip.Prefix // where receivers may be; none: anywhere that can be routed to
	Webhooks      []Webhook
	Alertmanagers []Webhook
	Mails         []Mail
	Panels        []Panel
	DeadMan       DeadMan
	Routes        []Route
	Maintenance   []Maintenance
}

// Webhook is an address that alarm transitions are posted to.
type Webhook struct {
	Name       string // the receiver's name in logs, metrics and the outbox
	URL        Secret // it may carry a token
	HeaderFile string // lines "Name: value" to send along
	// SignKeyFile holds the key that events are signed with; empty: they are not.
	SignKeyFile string
}

// Default gives the configuration that an empty file stands for.
func Default() *Config {
	return &Config{
		HTTP: HTTP{Listen: "127.0.0.1:8420", Idle: time.Hour, Longest: 12 * time.Hour},
		MQTT: MQTT{Link: Link{ClientID: "strokewise"}, MaxPacket: 1 << 20},
		Data: "/var/lib/strokewise",
		Log:  Log{Keep: 48 * time.Hour, MaxBytes: 20e9},

		Refused:  Refused{MaxBytes: 1e9},
		History:  History{Minutes: 90 * day, Hours: 5 * year},
		Lateness: 2 * time.Second,
		Influx:   Influx{Keep: 7 * 24 * time.Hour},
	}
}

// defaultTopic gives what a topic entry leaves out.
func defaultTopic() Topic {
	return Topic{Payload: "auto", PressureUnit: 1e3, MaxAge: intake.DefaultMaxAge}
}

// implicitSite is the site of a station where the file tells none.
const implicitSite = "site"

// Site finds a site by its identifier, nil if there is none.
func (c *Config) Site(id string) *Site {
	for i := range c.Sites {
		if c.Sites[i].ID == id {
			return &c.Sites[i]
		}
	}
	return nil
}

// OnlySite gives the identifier of the site where there is just one, else "".
func (c *Config) OnlySite() string {
	if len(c.Sites) == 1 {
		return c.Sites[0].ID
	}
	return ""
}

// Keys lists the stations' keys in the order of the file.
func (c *Config) Keys() []station.Key {
	out := make([]station.Key, len(c.Stations))
	for i := range c.Stations {
		out[i] = c.Stations[i].Plate.Key
	}
	return out
}
