package fieldtest

import (
	"time"

	"github.com/google/uuid"
)

// Accuracy is what the meter's maker states, as half-width in percent of the reading.
type Accuracy struct {
	VoltagePercent *float64 `json:"voltage_percent"`
	CurrentPercent *float64 `json:"current_percent"`
	PowerPercent   *float64 `json:"power_percent"`
}

// Resolution is the last displayed step of a meter.
type Resolution struct {
	VoltageV *float64 `json:"voltage_v"`
	CurrentA *float64 `json:"current_a"`
	PowerW   *float64 `json:"power_w"`
}

// A Cable joins the panel and the point where the meter reads.
type Cable struct {
	LengthM         *float64 `json:"length_m"` // one way
	CrossSectionMM2 *float64 `json:"cross_section_mm2"`
	ConnectorPairs  *int     `json:"connector_pairs"`
}

// A Rig is what loads the panel and how it is measured.
type Rig struct {
	Name                string     `json:"name,omitempty"`
	Kind                RigKind    `json:"kind,omitempty"`
	PowerReadAt         Side       `json:"power_read_at,omitempty"`
	Instrument          Instrument `json:"instrument,omitempty"`
	Accuracy            Accuracy   `json:"accuracy,omitzero"`
	Resolution          Resolution `json:"resolution,omitzero"`
	Cable               Cable      `json:"cable,omitzero"`
	BatteryVoltageV     *float64   `json:"battery_voltage_v"`
	ConverterEfficiency *float64   `json:"converter_efficiency"`
	MaxVoltageV         *float64   `json:"max_voltage_v"`
	MaxCurrentA         *float64   `json:"max_current_a"`
	MaxPowerW           *float64   `json:"max_power_w"`
	PanelsInSeries      *int       `json:"panels_in_series"`
	PanelsInParallel    *int       `json:"panels_in_parallel"`
	LowestAirC          *float64   `json:"lowest_air_temperature_c"`
}

// A StoredRig is one version of a tester's rig. A session keeps the version it used.
type StoredRig struct {
	Rig
	ID        uuid.UUID `json:"id"`
	TesterID  uuid.UUID `json:"tester_id"`
	Revision  int       `json:"revision"`
	CreatedAt time.Time `json:"created_at"`
	UpdatedAt time.Time `json:"updated_at"`
	Sequence  int64     `json:"sequence"`
	Cautions  []Caution `json:"cautions,omitempty"` // of one rig; left out of lists
}
