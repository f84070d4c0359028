package fieldtest

// Arrangement says how the panel lay during a reading.
type Arrangement string

// The arrangements of a reading.
const (
	Tilted  Arrangement = "tilted"  // propped up, facing the plane stated
	Flat    Arrangement = "flat"    // on the ground, tilt 0
	Covered Arrangement = "covered" // as tilted, with sections covered on purpose
)

// Kind says what was measured at the terminals.
type Kind string

// The kinds of reading.
const (
	OperatingPoint Kind = "operating_point" // V and I under load, or P, or all three
	OpenCircuit    Kind = "open_circuit"    // V with nothing connected
	ShortCircuit   Kind = "short_circuit"   // I with the terminals joined
	IVSweep        Kind = "iv_sweep"        // pairs of V and I
)

// RigKind is what loads the panel.
type RigKind string

// The kinds of rig.
const (
	MPPTController RigKind = "mppt_controller"
	PWMController  RigKind = "pwm_controller"
	PowerStation   RigKind = "power_station"
	Microinverter  RigKind = "microinverter"
	ElectronicLoad RigKind = "electronic_load"
	Resistor       RigKind = "resistor"
	OtherRig       RigKind = "other"
)

// Side is where along the wiring the power was read.
type Side string

// The sides of a rig.
const (
	PanelSide   Side = "panel_side"
	BatterySide Side = "battery_side"
	UnknownSide Side = "unknown"
)

// Instrument is the electrical meter's class.
type Instrument string

// The classes of electrical meter.
const (
	ControllerDisplay Instrument = "controller_display"
	InlineMeter       Instrument = "inline_meter"
	ClampMeter        Instrument = "clamp_meter"
	BenchMeter        Instrument = "bench_meter"
	DataLogger        Instrument = "data_logger"
	OtherInstrument   Instrument = "other"
)

// Sensor is the irradiance meter's class.
type Sensor string

// The classes of irradiance meter.
const (
	ThermopilePyranometer Sensor = "thermopile_pyranometer"
	SiliconPyranometer    Sensor = "silicon_pyranometer"
	ReferenceCell         Sensor = "reference_cell"
	ReferencePanel        Sensor = "reference_panel"
	Phone                 Sensor = "phone"
	OtherSensor           Sensor = "other"
)

// BackSensor is how the temperature of the panel was taken.
type BackSensor string

// The ways to take a panel's temperature.
const (
	Thermocouple  BackSensor = "thermocouple"
	InfraredBack  BackSensor = "infrared_back"
	InfraredFront BackSensor = "infrared_front"
)

// SkyCondition is what the tester saw overhead.
type SkyCondition string

// The conditions of the sky.
const (
	Clear          SkyCondition = "clear"
	ThinHaze       SkyCondition = "thin_haze"
	Haze           SkyCondition = "haze"
	ScatteredCloud SkyCondition = "scattered_cloud"
	BrokenCloud    SkyCondition = "broken_cloud"
	Overcast       SkyCondition = "overcast"
	UnknownSky     SkyCondition = "unknown"
)

// Clouded tells whether the tester saw clouds.
func (c SkyCondition) Clouded() bool {
	return c == ScatteredCloud || c == BrokenCloud || c == Overcast
}

// Ground is what lies in front of the panel.
type Ground string

// The kinds of ground.
const (
	Grass       Ground = "grass"
	DryGrass    Ground = "dry_grass"
	Soil        Ground = "soil"
	Sand        Ground = "sand"
	Gravel      Ground = "gravel"
	Concrete    Ground = "concrete"
	Asphalt     Ground = "asphalt"
	Wood        Ground = "wood"
	Snow        Ground = "snow"
	Water       Ground = "water"
	OtherGround Ground = "other"
)

// Mount is what holds a panel up.
type Mount string

// The mounts of a panel.
const (
	Kickstand  Mount = "kickstand"
	Rack       Mount = "rack"
	OtherMount Mount = "other"
)

// Front is the sheet over the cells.
type Front string

// The fronts of a panel.
const (
	ETFE       Front = "etfe"
	PET        Front = "pet"
	Glass      Front = "glass"
	OtherFront Front = "other"
)

// Technology is what the cells are made of.
type Technology string

// The cell technologies.
const (
	MonoPERC          Technology = "mono_perc"
	TOPCon            Technology = "topcon"
	Heterojunction    Technology = "heterojunction"
	BackContact       Technology = "back_contact"
	Poly              Technology = "poly"
	CIGS              Technology = "cigs"
	Amorphous         Technology = "amorphous"
	PerovskiteTandem  Technology = "perovskite_tandem"
	UnknownTechnology Technology = "unknown"
)

// Crystalline tells whether the cells are known to be wafers of crystalline silicon
// with a single junction.
func (t Technology) Crystalline() bool {
	switch t {
	case MonoPERC, TOPCon, Heterojunction, BackContact, Poly:
		return true
	}
	return false
}

// ThinFilm tells whether the cells are known to be a thin film with a single junction.
func (t Technology) ThinFilm() bool { return t == CIGS || t == Amorphous }

// Severity is how much a finding weighs.
type Severity string

// The severities, from the mildest.
const (
	Note   Severity = "note"   // counts, visible
	Hold   Severity = "hold"   // stored, out of the rankings until a verdict
	Reject Severity = "reject" // refused, nothing stored
)

// ReadingState says whether a stored reading counts.
type ReadingState string

// The states of a reading.
const (
	Counted    ReadingState = "counted"
	Held       ReadingState = "held"
	Excluded   ReadingState = "excluded"
	Superseded ReadingState = "superseded" // revised or withdrawn
)

// SessionState is the state of one revision of a session.
type SessionState string

// The states of a session.
const (
	SessionAccepted   SessionState = "accepted"
	SessionWithdrawn  SessionState = "withdrawn"
	SessionSuperseded SessionState = "superseded"
)

// FindingState says what became of a finding.
type FindingState string

// The states of a finding.
const (
	FindingOpen     FindingState = "open"
	FindingKept     FindingState = "kept"
	FindingExcluded FindingState = "excluded"
	FindingAsked    FindingState = "asked"
	FindingObsolete FindingState = "obsolete" // today's method would not raise it
)

// FindingStates returns all states of a finding.
func FindingStates() []FindingState {
	return []FindingState{FindingOpen, FindingKept, FindingExcluded, FindingAsked, FindingObsolete}
}

// Decision is what a reviewer says of a finding.
type Decision string

// The decisions.
const (
	Keep    Decision = "keep"
	Exclude Decision = "exclude"
	Ask     Decision = "ask"
)

// Role is what a key may do.
type Role string

// The roles.
const (
	Anonymous    Role = "anonymous"
	RoleTester   Role = "tester"
	RoleReviewer Role = "reviewer"
	RoleOperator Role = "operator"
)

// Origin says where the irradiance of a result came from.
type Origin string

// The origins of irradiance.
const (
	OriginMeasured Origin = "measured"
	OriginFromGHI  Origin = "from_ghi"
	OriginClearSky Origin = "clear_sky"
)
