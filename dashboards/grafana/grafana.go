// Package grafana makes dashboards for Grafana out of the table of metrics.
package grafana

import (
	"encoding/json"
	"fmt"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/statetimeline"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// Board is a dashboard.
type Board struct {
	Name, Title, About string
	From               string // how far back it shows at first
	Variables          []Variable
	Rows               []Row
}

// Variable is what the reader picks: a label of station_info. Multi takes several, or all.
type Variable struct {
	Label, Filter string // Filter limits the choice by variables before it
	Multi         bool
}

// Row is a line with a title, and panels below it.
type Row struct {
	Title  string
	Panels []Panel
}

// Kind is how a panel shows its series.
type Kind uint8

// The kinds.
const (
	Lines  Kind = iota // over time
	Number             // as they are now
	States             // a strip of colour a series, over time
)

// Panel is one panel. What it says of itself is the help of the metrics in Of.
type Panel struct {
	Title   string
	Kind    Kind
	Unit    string // as Grafana names it
	Width   uint32 // of 24
	Of      []string
	Targets []Target
	Top     float64 // of the axis, 0: by what is shown
	Warn    float64 // a Number is orange from here on, 0: never
}

// Target is a query with the legend of its series.
type Target struct{ Expr, Legend string }

const (
	heightOfLines  = 8
	heightOfNumber = 4
)

// JSON returns the dashboard in the form that Grafana takes.
func (b *Board) JSON() ([]byte, error) {
	//lint:ignore SA1019 the form of version 1 is the one that every Grafana in use imports; the library prefers version 2
	d := dashboard.NewDashboardBuilder(b.Title).Uid("strokewise-"+b.Name).Description(b.About).Tags([]string{"strokewise"}).
		Time(b.From, "now").Refresh("30s").Timezone(common.TimeZoneBrowser).Tooltip(dashboard.DashboardCursorSyncCrosshair).Editable().
		WithVariable(dashboard.NewDatasourceVariableBuilder("datasource").Label("Prometheus").Type("prometheus")).
		Link(dashboard.NewDashboardLinkBuilder("strokewise").Type(dashboard.DashboardLinkTypeDashboards).Tags([]string{"strokewise"}).KeepTime(true).IncludeVars(true))
	for _, v := range b.Variables {
		d.WithVariable(v.build())
	}
	id := uint32(0)
	next := func() uint32 { id++; return id }
	for _, r := range b.Rows {
		d.WithRow(dashboard.NewRowBuilder(r.Title).Id(next()))
		for i := range r.Panels {
			d.WithPanel(r.Panels[i].build(next()))
		}
	}
	out, err := d.Build()
	if err != nil {
		return nil, fmt.Errorf("cannot make dashboard %s: %w", b.Name, err)
	}
	text, err := json.MarshalIndent(out, "", "  ")
	return append(text, '\n'), err
}

// source is the Prometheus that the reader picks.
func source() common.DataSourceRef {
	return common.DataSourceRef{Type: cog.ToPtr("prometheus"), Uid: cog.ToPtr("${datasource}")}
}

func (v *Variable) build() *dashboard.QueryVariableBuilder {
	q := "label_values(strokewise_station_info{" + v.Filter + "}, " + v.Label + ")"
	b := dashboard.NewQueryVariableBuilder(v.Label).Label(v.Label).Datasource(source()).Query(dashboard.StringOrMap{String: &q}).
		Refresh(dashboard.VariableRefreshOnTimeRangeChanged).Sort(dashboard.VariableSortNaturalAsc)
	if v.Multi {
		b.Multi(true).IncludeAll(true).AllValue(".+").Current(dashboard.VariableOption{
			Selected: cog.ToPtr(true), Text: dashboard.StringOrArrayOfString{String: cog.ToPtr("All")}, Value: dashboard.StringOrArrayOfString{String: cog.ToPtr("$__all")}})
	}
	return b
}

// builder is what the builders of all kinds of panels have in common.
type builder[B any] interface {
	cog.Builder[dashboard.Panel]
	Id(uint32) B
	Title(string) B
	Description(string) B
	Datasource(common.DataSourceRef) B
	Unit(string) B
	Height(uint32) B
	Span(uint32) B
	WithTarget(cog.Builder[target]) B
}

func (p *Panel) build(id uint32) cog.Builder[dashboard.Panel] {
	switch p.Kind {
	case Number:
		return filled(p, id, heightOfNumber, stat.NewPanelBuilder()).ColorMode(common.BigValueColorModeValue).GraphMode(common.BigValueGraphModeNone).
			NoValue("unknown").Thresholds(p.thresholds()).ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"lastNotNull"}))
	case States:
		return filled(p, id, heightOfLines, statetimeline.NewPanelBuilder()).FillOpacity(80).LineWidth(0)
	}
	b := filled(p, id, heightOfLines, timeseries.NewPanelBuilder()).FillOpacity(0).LineWidth(1).
		Legend(common.NewVizLegendOptionsBuilder().ShowLegend(true).DisplayMode(common.LegendDisplayModeList).Placement(common.LegendPlacementBottom))
	if p.Top > 0 {
		b.Min(0).Max(p.Top)
	}
	return b
}

func (p *Panel) thresholds() *dashboard.ThresholdsConfigBuilder {
	steps := []dashboard.Threshold{{Color: "text"}}
	if p.Warn > 0 {
		steps = append(steps, dashboard.Threshold{Value: &p.Warn, Color: "orange"})
	}
	return dashboard.NewThresholdsConfigBuilder().Mode(dashboard.ThresholdsModeAbsolute).Steps(steps)
}

// filled sets what all kinds have in common.
func filled[B builder[B]](p *Panel, id, height uint32, b B) B {
	b.Id(id).Title(p.Title).Description(p.about()).Datasource(source()).Height(height).Span(p.Width)
	if p.Unit != "" {
		b.Unit(p.Unit)
	}
	for i, t := range p.Targets {
		q := prometheus.NewDataqueryBuilder().Expr(t.Expr).LegendFormat(t.Legend).RefId(string(rune('A' + i))).Datasource(source())
		if p.Kind == Number {
			q.Instant()
		} else {
			q.Range()
		}
		b.WithTarget(q)
	}
	return b
}
