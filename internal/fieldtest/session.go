package fieldtest

import (
	"time"

	"github.com/google/uuid"
)

// A Session is one tester, one rig, one site and one stretch of time with one or
// more panels in order, as submitted.
type Session struct {
	StartedAt time.Time  `json:"started_at"`
	EndedAt   *time.Time `json:"ended_at,omitempty"`
	ClientRef string     `json:"client_ref,omitempty"`
	Site      Site       `json:"site"`
	Sky       Sky        `json:"sky,omitzero"`
	Rig       SessionRig `json:"rig"`
	Weather   Weather    `json:"weather,omitzero"`
	Plane     Plane      `json:"plane,omitzero"`
	Note      string     `json:"note,omitempty"`
	Readings  []Reading  `json:"readings"`
}

// A Site is where a session took place. Latitude is north positive, longitude east
// positive, WGS84. Places are rounded on arrival; finer digits are never stored.
type Site struct {
	LatitudeDeg      float64  `json:"latitude_deg"`
	LongitudeDeg     float64  `json:"longitude_deg"`
	AltitudeM        *float64 `json:"altitude_m,omitempty"`
	Ground           Ground   `json:"ground,omitempty"`
	GroundAlbedo     *float64 `json:"ground_albedo,omitempty"`
	PlaceRoundingDeg *float64 `json:"place_rounding_deg,omitempty"` // 0.1 (default), 0.01 or 0
}

// A Sky is what the tester saw overhead.
type Sky struct {
	Condition      SkyCondition `json:"condition,omitempty"`
	LinkeTurbidity *float64     `json:"linke_turbidity,omitempty"`
}

// A SessionRig names a stored rig by its id or describes one inline.
type SessionRig struct {
	ID *uuid.UUID `json:"id,omitempty"`
	Rig
}

// Weather is the air at the panel.
type Weather struct {
	AirTemperatureC         *float64 `json:"air_temperature_c,omitempty"`
	WindSpeedMS             *float64 `json:"wind_speed_m_s,omitempty"`
	RelativeHumidityPercent *float64 `json:"relative_humidity_percent,omitempty"`
}

// A Plane is where the panel faced: tilt 0 is flat and facing up, azimuth is
// clockwise from true north unless it is declared magnetic.
type Plane struct {
	TiltDeg          *float64 `json:"tilt_deg,omitempty"`
	AzimuthDeg       *float64 `json:"azimuth_deg,omitempty"`
	AzimuthReference string   `json:"azimuth_reference,omitempty"` // true (default) or magnetic
}

// A Reading is one measured state of one specimen.
type Reading struct {
	Label                 string      `json:"label,omitempty"`
	Panel                 PanelRef    `json:"panel"`
	TakenAt               *time.Time  `json:"taken_at,omitempty"`
	Kind                  Kind        `json:"kind,omitempty"`
	Arrangement           Arrangement `json:"arrangement,omitempty"`
	Cover                 *Cover      `json:"cover,omitempty"`
	VoltageV              *float64    `json:"voltage_v,omitempty"`
	CurrentA              *float64    `json:"current_a,omitempty"`
	PowerW                *float64    `json:"power_w,omitempty"`
	BatteryVoltageV       *float64    `json:"battery_voltage_v,omitempty"`
	BatteryCurrentA       *float64    `json:"battery_current_a,omitempty"`
	PowerReadAt           Side        `json:"power_read_at,omitempty"` // overrides the rig's
	Sweep                 *Sweep      `json:"sweep,omitempty"`
	Irradiance            Irradiance  `json:"irradiance,omitzero"`
	BackTemperatureC      *float64    `json:"back_temperature_c,omitempty"`
	BackTemperatureSensor BackSensor  `json:"back_temperature_sensor,omitempty"`
	WarmUpMin             *float64    `json:"warm_up_min,omitempty"`
	Weather               Weather     `json:"weather,omitzero"`
	Plane                 Plane       `json:"plane,omitzero"`
	Note                  string      `json:"note,omitempty"`
	Contest               []Contest   `json:"contest,omitempty"`
}

// A PanelRef names a stored panel model and the unit that was read, or describes a
// model inline: always in a dry run, with a new slug also in a submission.
type PanelRef struct {
	Model        string        `json:"model,omitempty"`    // slug
	Specimen     string        `json:"specimen,omitempty"` // default unit-1
	Maker        string        `json:"maker,omitempty"`
	ModelName    string        `json:"model_name,omitempty"`
	Nameplate    *Nameplate    `json:"nameplate,omitempty"`
	Construction *Construction `json:"construction,omitempty"`
	Size         *Size         `json:"size,omitempty"`
}

// A Cover says which part of the panel was covered on purpose.
type Cover struct {
	SectionsCovered int      `json:"sections_covered"`
	SectionsTotal   int      `json:"sections_total"`
	Transmission    *float64 `json:"transmission,omitempty"` // share of light that passes the cover, default 0
	ReferenceLabel  string   `json:"reference_label,omitempty"`
}

// A Sweep is a current-voltage curve, voltage rising.
type Sweep struct {
	VoltageV []float64 `json:"voltage_v"`
	CurrentA []float64 `json:"current_a"`
}

// Irradiance is what the tester's light meter showed, W/m2.
type Irradiance struct {
	POAWM2       *float64 `json:"poa_w_m2,omitempty"`
	RearWM2      *float64 `json:"rear_w_m2,omitempty"`
	GHIWM2       *float64 `json:"ghi_w_m2,omitempty"`
	Sensor       Sensor   `json:"sensor,omitempty"`
	Calibrated   *bool    `json:"calibrated,omitempty"`
	ISO9060Class string   `json:"iso_9060_class,omitempty"` // A, B or C
}

// A Contest says that the tester stands by a value that a rule refuses.
type Contest struct {
	Rule   string `json:"rule"`
	Reason string `json:"reason"`
}

// Over returns the weather with every value of w replaced by that of over where given.
func (w Weather) Over(over Weather) Weather {
	w.AirTemperatureC = either(over.AirTemperatureC, w.AirTemperatureC)
	w.WindSpeedMS = either(over.WindSpeedMS, w.WindSpeedMS)
	w.RelativeHumidityPercent = either(over.RelativeHumidityPercent, w.RelativeHumidityPercent)
	return w
}

// Over returns the plane with every value of p replaced by that of over where given.
func (p Plane) Over(over Plane) Plane {
	p.TiltDeg = either(over.TiltDeg, p.TiltDeg)
	if over.AzimuthDeg != nil {
		p.AzimuthDeg, p.AzimuthReference = over.AzimuthDeg, over.AzimuthReference
	}
	return p
}

func either(first, second *float64) *float64 {
	if first != nil {
		return first
	}
	return second
}
