package caution

import "math"

// Level is how loudly a caution speaks.
type Level string

// The levels.
const (
	Warn   Level = "warn"   // a number crossed a line
	Inform Level = "inform" // a danger to know of
)

// A Caution is one sentence of care. ID is stable.
type Caution struct {
	ID    string `json:"id"`
	Level Level  `json:"level"`
	Text  string `json:"text"`
}

// Session is what a session tells about danger; NaN: not measured. Of several
// readings the largest value counts.
type Session struct {
	ShortCircuit    bool    // a reading of kind short_circuit
	CurrentA        float64 // largest current read
	VoltageV        float64 // voltage at that current
	HottestC        float64 // hottest back, front or cell temperature, measured or from the model
	AirC            float64
	HumidityPercent float64 // relative
	WindMS          float64
	ElevationDeg    float64 // highest apparent elevation of the sun
	POAWM2          float64 // highest plane-of-array irradiance, measured or clear-sky
	Ground          string  // as in the site: grass, snow, sand, ...
	Sky             string  // as in the sky condition
	Rain            bool    // a note of rain
	CableLossShare  float64 // loss in the cable over power at the panel
}

// Panel is what a panel model tells about danger; NaN: not stated.
type Panel struct {
	VocV        float64 // open-circuit voltage of one panel at 25 C
	IscA        float64 // short-circuit current of one panel
	BetaPerK    float64 // of Voc, 1/K
	MassKg      float64
	PanelAreaM2 float64 // unfolded
}

// Rig is what a rig tells about danger; NaN: not stated.
type Rig struct {
	Kind             string  // as in the rig: mppt_controller, power_station, ...
	PanelsInSeries   float64 // NaN: 1
	PanelsInParallel float64 // NaN: 1
	LowestAirC       float64 // that the rig may meet; NaN: -10
	MaxVoltageV      float64 // the controller's limit on the panel side
	CableMM2         float64
	BatteryVoltageV  float64
}

// NewSession returns a session of which nothing is known.
func NewSession() Session {
	nan := math.NaN()
	return Session{CurrentA: nan, VoltageV: nan, HottestC: nan, AirC: nan, HumidityPercent: nan, WindMS: nan,
		ElevationDeg: nan, POAWM2: nan, CableLossShare: nan}
}

// NewPanel returns a panel model of which nothing is stated.
func NewPanel() Panel {
	nan := math.NaN()
	return Panel{VocV: nan, IscA: nan, BetaPerK: nan, MassKg: nan, PanelAreaM2: nan}
}

// NewRig returns a rig of which nothing is stated.
func NewRig() Rig {
	nan := math.NaN()
	return Rig{PanelsInSeries: nan, PanelsInParallel: nan, LowestAirC: nan, MaxVoltageV: nan, CableMM2: nan, BatteryVoltageV: nan}
}

// Of returns the cautions for a session of a panel model on a rig, electrical
// dangers first, the closing text last.
func Of(s *Session, p *Panel, r *Rig) []Caution {
	var l list
	l.electrical(s, p, r)
	l.surroundings(s, p)
	return l.closed()
}

// OfRig returns the cautions that a rig with a panel model calls for by itself,
// closing text last.
func OfRig(p *Panel, r *Rig) []Caution {
	var l list
	s := NewSession()
	l.electrical(&s, p, r)
	return l.closed()
}

// OfPanel returns the cautions that a single panel calls for by itself (touch,
// arcs, weight), closing text last.
func OfPanel(p *Panel) []Caution {
	var l list
	r := NewRig()
	s := NewSession()
	cold := coldestVoltage(p, &r)
	l.touch(&s, cold)
	l.arc(&s, cold)
	l.lifting(p.MassKg)
	return l.closed()
}

// Closing returns the sentence that ends every list.
func Closing() Caution {
	return Caution{ID: "general", Level: Inform, Text: "This is general information and no advice for your installation: " +
		"local electrical codes, the makers' instructions and a licensed electrician or another qualified person take precedence."}
}

type list []Caution

func (l *list) add(id string, level Level, text string) {
	*l = append(*l, Caution{id, level, text})
}

func (l *list) closed() []Caution { return append(*l, Closing()) }

func given(x float64) bool { return !math.IsNaN(x) }

func or(x, fallback float64) float64 {
	if given(x) {
		return x
	}
	return fallback
}
