package fieldtest

import "time"

// PanelEnergy is what a panel model yields on one day at one place.
type PanelEnergy struct {
	PanelModel      string      `json:"panel_model"`
	ComputedThrough int64       `json:"computed_through"`
	Date            string      `json:"date"` // YYYY-MM-DD, in the mean solar time of the place
	LatitudeDeg     float64     `json:"latitude_deg"`
	LongitudeDeg    float64     `json:"longitude_deg"`
	AltitudeM       float64     `json:"altitude_m"`
	Sun             SunDay      `json:"sun"`
	TiltDeg         float64     `json:"tilt_deg"`    // of the panel that stays propped up
	AzimuthDeg      float64     `json:"azimuth_deg"` // clockwise from true north
	StcPowerW       float64     `json:"stc_power_w"`
	StcPowerUW      float64     `json:"stc_power_u_w"`
	PowerBasis      string      `json:"power_basis"` // readings or nameplate
	ClearDay        DayEnergy   `json:"clear_day"`
	TypicalDay      DayEnergy   `json:"typical_day"`
	Coverage        float64     `json:"coverage"`
	Clearness       DayQuantity `json:"clearness"` // of the typical day: light over that above the air
	Air             DayQuantity `json:"air"`       // temperature, C
	Wind            DayQuantity `json:"wind"`      // m/s
	Assumptions     []string    `json:"assumptions"`
}

// A SunDay is what the sun does on a day.
type SunDay struct {
	Kind             string     `json:"kind"` // ordinary, polar_day, polar_night
	Rise             *time.Time `json:"rise"` // nil where it does not
	Noon             time.Time  `json:"noon"`
	Set              *time.Time `json:"set"`
	NoonElevationDeg float64    `json:"noon_elevation_deg"`
}

// A DayEnergy is a day's yield by how the panel lies.
type DayEnergy struct {
	Tilted Energy `json:"tilted"`
	Flat   Energy `json:"flat"`
	Turned Energy `json:"turned"` // to the sun every two hours
}

// An Energy is a yield with its interval, and the light that it was made of.
type Energy struct {
	EnergyWh       float64 `json:"energy_wh"`
	EnergyLoWh     float64 `json:"energy_lo_wh"`
	EnergyHiWh     float64 `json:"energy_hi_wh"`
	InsolationWhM2 float64 `json:"insolation_wh_m2"` // on the plane
}

// A DayQuantity is what a day was computed with: a value, its standard uncertainty, its
// unit and where it comes from.
type DayQuantity struct {
	Value  float64 `json:"value"`
	U      float64 `json:"u"`
	Unit   string  `json:"unit"` // UCUM
	Source string  `json:"source"`
}
