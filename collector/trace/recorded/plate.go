package recorded

import "strokewise/analyzer/station"

// plate is station.json: what a user of the station could know.
type plate struct {
	ID              string
	Drive           float64 `json:"drive_bore_mm"`
	Boost           float64 `json:"boost_bore_mm"`
	Rod             float64 `json:"rod_mm"`
	Stroke          float64 `json:"stroke_mm"`
	RodThroughDrive bool    `json:"rod_through_drive"`
	Set             float64 `json:"set_pressure_kpa"`
	Relief          float64 `json:"relief_kpa"`
	Tank            float64 `json:"tank_volume_l"`
	Atmosphere      float64 `json:"atmosphere_kpa"`
	Counter         string
	Sensor          string  `json:"outlet_sensor_at"`
	Shutdown        float64 `json:"shutdown_s"`
}

func readPlate(dir string) (*plate, error) {
	p := new(plate)
	return p, readJSON(dir, "station.json", p)
}

// plate returns the plate in SI units.
func (s *plate) plate() station.Plate {
	p := station.Plate{
		Key: station.Key{Site: "recorded", Station: s.ID}, Counts: station.CountsCycles,
		Set: station.Gauge(s.Set * 1e3), Relief: station.Gauge(s.Relief * 1e3), TankVolume: s.Tank * 1e-3,
		Ambient: station.Absolute(s.Atmosphere * 1e3),
	}
	if s.Sensor == "port" {
		p.Sensor = station.AtBooster
	}
	p.Bores(s.Drive*1e-3, s.Boost*1e-3, s.Rod*1e-3, s.Stroke*1e-3, s.RodThroughDrive, true)
	return p
}
