package sheet

import (
	"slices"
	"strings"
	"unicode"
)

// A Scope says what a column describes.
type Scope int

// The scopes. What is of a session must not differ between its rows.
const (
	OfReading Scope = iota
	OfPanel         // of the panel that the row is about
	OfSession
)

// A Kind says what the cells of a column hold.
type Kind int

// The kinds of cells.
const (
	Text Kind = iota
	Word      // one of a few words of the interface; case and blanks do not matter
	Number
	Whole
	YesNo
	Time // a whole time with its offset from UTC, or a date and a time of day
	Day  // a date
	Hour // a time of day
)

// A Column is one column that a table may have.
type Column struct {
	Name    string // as in the interface
	Scope   Scope
	Kind    Kind
	Unit    string   // of the numbers, as the interface has it; empty: none
	Usual   []string // headings of spreadsheets that mean it, folded as by fold
	Meaning string   // one line for the template's description
	path    string   // of the member below session or reading; empty: read here
}

// Columns returns all columns, in the order of the template.
func Columns() []Column { return slices.Clone(columns) }

// columns is the one table of what a spreadsheet may say.
var columns = []Column{
	{Name: "session", Scope: OfSession, Kind: Text, Usual: []string{"sessionname", "run", "outing"}, Meaning: "your name of the session that the row belongs to; left out: one session a day, place and rig", path: "client_ref"},
	{Name: "utc_offset", Scope: OfReading, Kind: Text, Usual: []string{"timezone", "offset"}, Meaning: "offset of the times from UTC, as +02:00"},
	{Name: "date", Scope: OfReading, Kind: Day, Usual: []string{"day"}, Meaning: "day of the reading, as 2026-06-14"},
	{Name: "time", Scope: OfReading, Kind: Hour, Usual: []string{"timeofday", "clock"}, Meaning: "time of day, as 11:22"},
	{Name: "taken_at", Scope: OfReading, Kind: Time, Usual: []string{"timestamp", "datetime", "takenat"}, Meaning: "date and time in one cell, as 2026-06-14T11:22:00+02:00", path: "taken_at"},
	{Name: "started_at", Scope: OfSession, Kind: Time, Meaning: "when the session began; left out: its first reading", path: "started_at"},
	{Name: "ended_at", Scope: OfSession, Kind: Time, Meaning: "when it ended; left out: its last reading", path: "ended_at"},
	{Name: "latitude_deg", Scope: OfSession, Kind: Number, Unit: "deg", Usual: []string{"latitude", "lat"}, Meaning: "north is positive", path: "site/latitude_deg"},
	{Name: "longitude_deg", Scope: OfSession, Kind: Number, Unit: "deg", Usual: []string{"longitude", "lon", "long", "lng"}, Meaning: "east is positive", path: "site/longitude_deg"},
	{Name: "altitude_m", Scope: OfSession, Kind: Number, Unit: "m", Usual: []string{"altitude", "elevation"}, Meaning: "above the sea", path: "site/altitude_m"},
	{Name: "ground", Scope: OfSession, Kind: Word, Usual: []string{"surface"}, Meaning: "grass, dry_grass, soil, sand, gravel, concrete, asphalt, wood, snow, water, other", path: "site/ground"},
	{Name: "ground_albedo", Scope: OfSession, Kind: Number, Unit: "1", Usual: []string{"albedo"}, Meaning: "share of light that the ground reflects", path: "site/ground_albedo"},
	{Name: "place_rounding_deg", Scope: OfSession, Kind: Number, Unit: "deg", Meaning: "0.1, 0.01 or 0: how coarsely the place is stored", path: "site/place_rounding_deg"},
	{Name: "sky_condition", Scope: OfSession, Kind: Word, Usual: []string{"sky", "condition", "skycondition"}, Meaning: "clear, thin_haze, haze, scattered_cloud, broken_cloud, overcast, unknown", path: "sky/condition"},
	{Name: "session_note", Scope: OfSession, Kind: Text, Meaning: "about the session; public", path: "note"},

	{Name: "rig", Scope: OfSession, Kind: Text, Usual: []string{"rigname", "controller", "meter"}, Meaning: "name of your rig, or its id; a new name needs rig_kind and power_read_at", path: "rig/name"},
	{Name: "rig_kind", Scope: OfSession, Kind: Word, Usual: []string{"controllertype", "rigkind"}, Meaning: "mppt_controller, pwm_controller, power_station, microinverter, electronic_load, resistor, other", path: "rig/kind"},
	{Name: "power_read_at", Scope: OfSession, Kind: Word, Usual: []string{"readat", "side"}, Meaning: "panel_side, battery_side, unknown", path: "rig/power_read_at"},
	{Name: "instrument", Scope: OfSession, Kind: Word, Meaning: "controller_display, inline_meter, clamp_meter, bench_meter, data_logger, other", path: "rig/instrument"},
	{Name: "accuracy_voltage_percent", Scope: OfSession, Kind: Number, Unit: "%", Meaning: "the meter's accuracy by its maker", path: "rig/accuracy/voltage_percent"},
	{Name: "accuracy_current_percent", Scope: OfSession, Kind: Number, Unit: "%", Meaning: "as above, of current", path: "rig/accuracy/current_percent"},
	{Name: "accuracy_power_percent", Scope: OfSession, Kind: Number, Unit: "%", Meaning: "as above, of power", path: "rig/accuracy/power_percent"},
	{Name: "resolution_voltage_v", Scope: OfSession, Kind: Number, Unit: "V", Meaning: "last step that the meter shows", path: "rig/resolution/voltage_v"},
	{Name: "resolution_current_a", Scope: OfSession, Kind: Number, Unit: "A", Meaning: "as above, of current", path: "rig/resolution/current_a"},
	{Name: "resolution_power_w", Scope: OfSession, Kind: Number, Unit: "W", Meaning: "as above, of power", path: "rig/resolution/power_w"},
	{Name: "cable_length_m", Scope: OfSession, Kind: Number, Unit: "m", Usual: []string{"cablelength"}, Meaning: "one way, from panel to meter", path: "rig/cable/length_m"},
	{Name: "cable_cross_section_mm2", Scope: OfSession, Kind: Number, Unit: "mm2", Meaning: "of its copper", path: "rig/cable/cross_section_mm2"},
	{Name: "rig_battery_voltage_v", Scope: OfSession, Kind: Number, Unit: "V", Meaning: "of the battery that the rig charges", path: "rig/battery_voltage_v"},
	{Name: "converter_efficiency", Scope: OfSession, Kind: Number, Unit: "1", Meaning: "of a rig read at the battery", path: "rig/converter_efficiency"},

	{Name: "label", Scope: OfReading, Kind: Text, Usual: []string{"reading", "id", "no", "nr", "number"}, Meaning: "your name of the reading, once in a session", path: "label"},
	{Name: "panel", Scope: OfPanel, Kind: Text, Usual: []string{"panelname", "panelmodel", "product"}, Meaning: "maker and model, or the panel's name in the address (tarn-fold-200)"},
	{Name: "maker", Scope: OfPanel, Kind: Text, Usual: []string{"brand", "manufacturer"}, Meaning: "of a panel that is new here", path: "panel/maker"},
	{Name: "model_name", Scope: OfPanel, Kind: Text, Usual: []string{"model", "modelname"}, Meaning: "of a panel that is new here", path: "panel/model_name"},
	{Name: "unit_of_panel", Scope: OfReading, Kind: Text, Usual: []string{"specimen", "unit", "unitofpanel", "serial"}, Meaning: "which of your units; left out: unit-1", path: "panel/specimen"},
	{Name: "pmax_w", Scope: OfPanel, Kind: Number, Unit: "W", Usual: []string{"pmax", "ratedpower", "rating", "rated"}, Meaning: "rated power of a panel that is new here", path: "panel/nameplate/pmax_w"},
	{Name: "voc_v", Scope: OfPanel, Kind: Number, Unit: "V", Usual: []string{"voc"}, Meaning: "by the label", path: "panel/nameplate/voc_v"},
	{Name: "isc_a", Scope: OfPanel, Kind: Number, Unit: "A", Usual: []string{"isc"}, Meaning: "by the label", path: "panel/nameplate/isc_a"},
	{Name: "vmp_v", Scope: OfPanel, Kind: Number, Unit: "V", Usual: []string{"vmp", "vmpp"}, Meaning: "by the label", path: "panel/nameplate/vmp_v"},
	{Name: "imp_a", Scope: OfPanel, Kind: Number, Unit: "A", Usual: []string{"imp", "impp"}, Meaning: "by the label", path: "panel/nameplate/imp_a"},
	{Name: "gamma_pmax_percent_per_k", Scope: OfPanel, Kind: Number, Unit: "%/K", Usual: []string{"tempcoeffpmax"}, Meaning: "temperature coefficient of power by the label, as -0.35", path: "panel/nameplate/gamma_pmax_percent_per_k"},
	{Name: "technology", Scope: OfPanel, Kind: Word, Usual: []string{"celltype"}, Meaning: "mono_perc, topcon, heterojunction, back_contact, poly, cigs, amorphous, perovskite_tandem, unknown", path: "panel/construction/technology"},
	{Name: "sections", Scope: OfPanel, Kind: Whole, Meaning: "folding sections of the panel", path: "panel/construction/sections"},
	{Name: "mass_kg", Scope: OfPanel, Kind: Number, Unit: "kg", Usual: []string{"mass", "weight"}, Meaning: "as carried", path: "panel/size/mass_kg"},
	{Name: "panel_area_m2", Scope: OfPanel, Kind: Number, Unit: "m2", Meaning: "unfolded", path: "panel/size/panel_area_m2"},
	{Name: "cell_area_m2", Scope: OfPanel, Kind: Number, Unit: "m2", Meaning: "of the cells alone", path: "panel/size/cell_area_m2"},
	{Name: "folded_volume_l", Scope: OfPanel, Kind: Number, Unit: "L", Meaning: "packed", path: "panel/size/folded_volume_l"},

	{Name: "kind", Scope: OfReading, Kind: Word, Usual: []string{"readingkind"}, Meaning: "operating_point (default), open_circuit, short_circuit", path: "kind"},
	{Name: "arrangement", Scope: OfReading, Kind: Word, Usual: []string{"position", "setup"}, Meaning: "tilted (default), flat, covered", path: "arrangement"},
	{Name: "sections_covered", Scope: OfReading, Kind: Whole, Usual: []string{"covered"}, Meaning: "of a covered reading", path: "cover/sections_covered"},
	{Name: "sections_total", Scope: OfReading, Kind: Whole, Meaning: "of a covered reading; left out: sections", path: "cover/sections_total"},
	{Name: "reference_label", Scope: OfReading, Kind: Text, Usual: []string{"reference"}, Meaning: "label of the uncovered reading of the same panel", path: "cover/reference_label"},
	{Name: "voltage_v", Scope: OfReading, Kind: Number, Unit: "V", Usual: []string{"voltage", "volts", "volt", "v"}, Meaning: "at the panel", path: "voltage_v"},
	{Name: "current_a", Scope: OfReading, Kind: Number, Unit: "A", Usual: []string{"current", "amps", "ampere", "amperes", "a", "i"}, Meaning: "at the panel", path: "current_a"},
	{Name: "power_w", Scope: OfReading, Kind: Number, Unit: "W", Usual: []string{"power", "watts", "watt", "w", "p"}, Meaning: "as the meter shows it", path: "power_w"},
	{Name: "battery_voltage_v", Scope: OfReading, Kind: Number, Unit: "V", Usual: []string{"batteryvoltage", "batteryvolts"}, Meaning: "at the battery", path: "battery_voltage_v"},
	{Name: "battery_current_a", Scope: OfReading, Kind: Number, Unit: "A", Usual: []string{"batterycurrent", "batteryamps"}, Meaning: "into the battery", path: "battery_current_a"},
	{Name: "poa_w_m2", Scope: OfReading, Kind: Number, Unit: "W/m2", Usual: []string{"irradiance", "poa", "light", "solarirradiance"}, Meaning: "light in the plane of the panel", path: "irradiance/poa_w_m2"},
	{Name: "ghi_w_m2", Scope: OfReading, Kind: Number, Unit: "W/m2", Usual: []string{"ghi"}, Meaning: "light on the level", path: "irradiance/ghi_w_m2"},
	{Name: "rear_w_m2", Scope: OfReading, Kind: Number, Unit: "W/m2", Meaning: "light on the rear of the panel", path: "irradiance/rear_w_m2"},
	{Name: "sensor", Scope: OfReading, Kind: Word, Usual: []string{"lightmeter"}, Meaning: "thermopile_pyranometer, silicon_pyranometer, reference_cell, reference_panel, phone, other", path: "irradiance/sensor"},
	{Name: "calibrated", Scope: OfReading, Kind: YesNo, Meaning: "light meter calibrated in the last two years", path: "irradiance/calibrated"},
	{Name: "back_temperature_c", Scope: OfReading, Kind: Number, Unit: "Cel", Usual: []string{"backtemperature", "backtemp", "paneltemp", "paneltemperature"}, Meaning: "of the back of the panel", path: "back_temperature_c"},
	{Name: "back_temperature_sensor", Scope: OfReading, Kind: Word, Meaning: "thermocouple, infrared_back, infrared_front", path: "back_temperature_sensor"},
	{Name: "warm_up_min", Scope: OfReading, Kind: Number, Unit: "min", Usual: []string{"warmup"}, Meaning: "how long the panel had been in the sun", path: "warm_up_min"},
	{Name: "air_temperature_c", Scope: OfReading, Kind: Number, Unit: "Cel", Usual: []string{"airtemperature", "airtemp", "temp", "temperature", "ambient", "ambienttemperature"}, Meaning: "in the shade", path: "weather/air_temperature_c"},
	{Name: "wind_speed_m_s", Scope: OfReading, Kind: Number, Unit: "m/s", Usual: []string{"wind", "windspeed"}, Meaning: "at the panel", path: "weather/wind_speed_m_s"},
	{Name: "relative_humidity_percent", Scope: OfReading, Kind: Number, Unit: "%", Usual: []string{"humidity", "relativehumidity", "rh"}, Meaning: "", path: "weather/relative_humidity_percent"},
	{Name: "tilt_deg", Scope: OfReading, Kind: Number, Unit: "deg", Usual: []string{"tilt"}, Meaning: "0 is flat, 90 upright", path: "plane/tilt_deg"},
	{Name: "azimuth_deg", Scope: OfReading, Kind: Number, Unit: "deg", Usual: []string{"azimuth", "heading", "direction"}, Meaning: "where the panel faces, clockwise from true north", path: "plane/azimuth_deg"},
	{Name: "azimuth_reference", Scope: OfReading, Kind: Word, Meaning: "true (default) or magnetic", path: "plane/azimuth_reference"},
	{Name: "note", Scope: OfReading, Kind: Text, Usual: []string{"notes", "comment", "comments", "remark", "remarks"}, Meaning: "about the reading; public", path: "note"},
}

// fold returns a heading without case, blanks and punctuation, as headings are compared.
func fold(heading string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, heading)
}

// columnOf returns the column that a heading without its unit names.
func columnOf(heading string) (Column, bool) {
	name := strings.ToLower(strings.TrimSpace(heading))
	for _, c := range columns {
		if c.Name == name {
			return c, true
		}
	}
	folded := fold(heading)
	for _, c := range columns {
		if fold(c.Name) == folded || slices.Contains(c.Usual, folded) {
			return c, true
		}
	}
	return Column{}, false
}

// names returns the names of all columns.
func names() []string {
	all := make([]string, len(columns))
	for i, c := range columns {
		all[i] = c.Name
	}
	return all
}

// Member returns the name of the interface's member that the column fills, empty for one
// that is read together with others.
func (c Column) Member() string { return c.path[strings.LastIndexByte(c.path, '/')+1:] }
