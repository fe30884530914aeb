package prometheus

// Families of the bands of air: the increase of low and high over a time are the ends of the 90 % band of the
// increase of the total of that name.
var (
	inletAirLow      = band("inlet_air_low", "Lower end of the 90 % band of the air drawn at the inlet")
	inletAirHigh     = band("inlet_air_high", "Upper end of the 90 % band of the air drawn at the inlet")
	exhaustAirLow    = band("exhaust_air_low", "Lower end of the 90 % band of the drive air exhausted")
	exhaustAirHigh   = band("exhaust_air_high", "Upper end of the 90 % band of the drive air exhausted")
	deliveredAirLow  = band("delivered_air_low", "Lower end of the 90 % band of the air delivered at the outlet")
	deliveredAirHigh = band("delivered_air_high", "Upper end of the 90 % band of the air delivered at the outlet")
)

func band(name, what string) *family {
	return counter(name+"_cubic_meters_total", what+", at the reference condition, committed since the program's start.", perStation("reference")...)
}
