package main

import (
	"bufio"
	"fmt"
	"net/http"
	"net/textproto"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/app"
	"strokewise/cmd/internal/backup"
	"strokewise/cmd/internal/config"
	"strokewise/collector/intake"
	"strokewise/collector/mqtt"
	"strokewise/collector/payload"
	"strokewise/collector/topic"
	"strokewise/dashboards/cost"
	"strokewise/rules"
)

// leaseTTL is how long the log's lease of a dead process holds, 0: the usual time. Tests shorten it.
var leaseTTL time.Duration

// lateRest is how long nothing late must have come of a station before it is worked off, 0: the usual time. Tests shorten it.
var lateRest time.Duration

// settings turns a configuration into the runtime's options.
func settings(c *config.Config, e *env) (app.Options, error) {
	o := app.Options{
		Every: app.Intervals{LateRest: lateRest},
		Data:  c.Data, MaxBytes: c.Log.MaxBytes, Keep: c.Log.Keep, SyncAlways: c.Log.SyncAlways, Refused: c.Refused.MaxBytes,
		History: app.Retention{Minutes: c.History.Minutes, Hours: c.History.Hours},
		Listen:  c.HTTP.Listen, Hosts: c.HTTP.Hosts, Version: version(), Logger: e.log,
		Zones: make(map[string]*time.Location), References: make(map[string]station.Reference), Tariffs: make(map[string]*cost.Tariffs),
		Headers: make(map[string]rules.HeaderPolicy),
	}
	for _, s := range c.Sites {
		o.Zones[s.ID], o.References[s.ID] = s.Zone, s.Air.Reference
		policy := s.HeaderLow
		if policy == (rules.HeaderPolicy{}) {
			policy = rules.UsualHeader
		}
		policy.Reading = s.Reading
		o.Headers[s.ID] = policy
		if t := s.Costs(); t != nil {
			o.Tariffs[s.ID] = t
		}
	}
	var err error
	if o.Doors, err = doors(c); err != nil {
		return o, err
	}
	if c.History.BackupKeyFile != "" {
		if o.BackupKey, err = backup.ReadKey(c.History.BackupKeyFile); err != nil {
			return o, err
		}
	}
	o.Stations, o.Rehearse = stationsOf(c), rehearsal(c)
	o.CheckFile = func(file []byte) error {
		_, err := config.Parse(file, "proposal.yaml", config.Options{})
		return err
	}
	if err = externalLog(&o, &c.Log); err != nil {
		return o, err
	}
	if o.Intake, err = routes(c); err != nil {
		return o, err
	}
	if err = brokers(&o, &c.MQTT); err != nil {
		return o, err
	}
	if c.MQTT.Broker == config.Embedded {
		o.BrokerListen = "127.0.0.1:1883"
	}
	if o.Influx, err = exporter(&c.Influx); err != nil {
		return o, err
	}
	if o.Webhooks, err = webhooks(&c.Notify); err != nil {
		return o, err
	}
	o.Reach, err = reach(c)
	return o, err
}

func routes(c *config.Config) (intake.Options, error) {
	o := intake.Options{Site: c.OnlySite(), Fixed: make(map[string]intake.Fixed)}
	for _, t := range c.MQTT.Topics {
		p, err := topic.CompilePartly(t.Match)
		if err != nil {
			return o, fmt.Errorf("cannot use topic pattern %q: %w", t.Match, err)
		}
		f, _ := payload.ParseFormat(t.Payload)
		o.Routes = append(o.Routes, intake.Route{Pattern: p, Format: f, PressureUnit: t.PressureUnit, Mapping: t.Mapping, MaxAge: t.MaxAge})
	}
	for name, t := range c.MQTT.Fixed {
		f, _ := payload.ParseFormat(t.Payload)
		o.Fixed[name] = intake.Fixed{Fields: topic.Fields{Site: t.Site, Station: t.Station, Channel: t.Channel}, Format: f, PressureUnit: t.PressureUnit, Mapping: t.Mapping, MaxAge: t.MaxAge}
	}
	return o, nil
}

// brokers sets the connections to brokers.
func brokers(o *app.Options, m *config.MQTT) (err error) {
	if o.MQTT, err = link(&m.Link, m.MaxPacket); err != nil {
		return err
	}
	o.MQTTName, o.MQTTSite = m.Name, m.Site
	for i := range m.More {
		l := &m.More[i]
		b := app.Broker{Name: l.Name, Site: l.Site}
		if b.MQTT, err = link(l, m.MaxPacket); err != nil {
			return err
		}
		o.Brokers = append(o.Brokers, b)
	}
	return nil
}

func link(l *config.Link, maxPacket int64) (mqtt.Options, error) {
	if l.Broker == "" { // no station is configured yet
		return mqtt.Options{}, nil
	}
	o := mqtt.Options{Brokers: append([]string{l.Broker}, l.Others...), ClientID: l.ClientID, User: l.User, MaxPacket: maxPacket}
	if l.PasswordFile != "" {
		o.Password = secretIn(l.PasswordFile)
	}
	if l.Broker == config.Embedded {
		o.Brokers = []string{"tcp://127.0.0.1:1883"} // replaced by the address it gets
	}
	if !l.Secure() {
		return o, nil
	}
	var err error
	o.TLS, err = clientTLS(&l.TLS)
	return o, err
}

// headers reads the header lines that go with a webhook.
func headers(path string) (http.Header, error) {
	if path == "" {
		return nil, nil
	}
	s, err := config.ReadSecret(path)
	if err != nil {
		return nil, err
	}
	r := textproto.NewReader(bufio.NewReader(strings.NewReader(s.Reveal() + "\r\n\r\n")))
	h, err := r.ReadMIMEHeader()
	if err != nil {
		return nil, fmt.Errorf("cannot read headers %q: expected lines such as Authorization: Bearer TOKEN", path)
	}
	return http.Header(h), nil
}
