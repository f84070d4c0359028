package fieldtest

import (
	"time"

	"github.com/google/uuid"
)

// Conclusions are what all testers' readings of a panel model mean.
type Conclusions struct {
	PanelModel      string              `json:"panel_model"`
	ComputedThrough int64               `json:"computed_through"`
	WiringClaimed   string              `json:"wiring_claimed"` // by the maker; unknown: not stated
	Wiring          WiringConclusion    `json:"wiring"`
	Shade           []ShadeConclusion   `json:"shade"` // by covered share, rising
	Flat            FlatConclusion      `json:"flat"`
	Heat            HeatConclusion      `json:"heat"`
	WeakLight       WeakLightConclusion `json:"weak_light"`
	Sessions        []SessionOrder      `json:"sessions"` // with other panels, newest first
}

// A SessionConclusion is what one session says of the wiring of one unit.
type SessionConclusion struct {
	PanelModel *string          `json:"panel_model"` // nil for a nameplate given inline without a slug
	Specimen   string           `json:"specimen"`
	Wiring     WiringConclusion `json:"wiring"`
}

// A WiringConclusion says how the sections of a panel are connected.
type WiringConclusion struct {
	Conclusion  string           `json:"conclusion"` // series, series_bypass, parallel, two_strings or undecided
	Posterior   WiringShares     `json:"posterior"`
	Best        string           `json:"best"`
	Second      string           `json:"second"`
	BayesFactor float64          `json:"bayes_factor"` // likelihood of best over that of second, at most 1e9
	Readings    int              `json:"readings"`     // with a cover, that count
	WithVoltage int              `json:"with_voltage"` // of them
	Units       int              `json:"units"`
	Testers     int              `json:"testers"`
	Decides     *DecidingReading `json:"decides"` // nil where it is decided
	Sentence    string           `json:"sentence"`
}

// WiringShares are the probabilities of the wirings; they add to 1.
type WiringShares struct {
	Series       float64 `json:"series"`
	SeriesBypass float64 `json:"series_bypass"`
	Parallel     float64 `json:"parallel"`
	TwoStrings   float64 `json:"two_strings"`
}

// A DecidingReading is the covered reading that would tell two wirings apart best.
type DecidingReading struct {
	SectionsCovered int      `json:"sections_covered"`
	SectionsTotal   *int     `json:"sections_total"` // nil: not known
	Transmission    float64  `json:"transmission"`   // of light under the cover
	Best            string   `json:"best"`
	Second          string   `json:"second"`
	Chance          *float64 `json:"chance"` // that it decides; nil: not computed
	Sentence        string   `json:"sentence"`
}

// A ShadeConclusion is what a panel keeps with a share of its sections covered.
type ShadeConclusion struct {
	Cover    float64  `json:"cover"` // covered share of the sections
	Kept     *float64 `json:"kept"`  // nil: nobody has read it
	KeptU    *float64 `json:"kept_u"`
	KeptLo   *float64 `json:"kept_lo"`
	KeptHi   *float64 `json:"kept_hi"`
	Ranked   bool     `json:"ranked"` // among others; else what is known so far
	Needs    string   `json:"needs,omitempty"`
	Readings int      `json:"readings"`
	Sessions int      `json:"sessions"`
	Testers  int      `json:"testers"`
}

// A FlatConclusion is what a panel gives flat on the ground of what it gives tilted.
type FlatConclusion struct {
	Readings int `json:"readings"`
	// Gave is the middle of what was read flat over tilted, with the smallest and largest;
	// nil without readings.
	Gave   *float64 `json:"gave"`
	GaveLo *float64 `json:"gave_lo"`
	GaveHi *float64 `json:"gave_hi"`
	// SunPart and HeatPart are the middles of what the sun's height and the usual heat
	// explain of it, as factors.
	SunPart  *float64 `json:"sun_part"`
	HeatPart *float64 `json:"heat_part"`
	// Rest is what is left, the panel's own, over all testers with its interval.
	Rest     *float64 `json:"rest"`
	RestU    *float64 `json:"rest_u"`
	RestLo   *float64 `json:"rest_lo"`
	RestHi   *float64 `json:"rest_hi"`
	Sentence string   `json:"sentence"`
}

// A HeatConclusion is how a panel takes heat.
type HeatConclusion struct {
	// TemperaturePerK is the temperature coefficient of power, 1/K, relative to the power
	// at 25 C, with its standard uncertainty.
	TemperaturePerK  float64  `json:"temperature_per_k"`
	TemperatureUPerK float64  `json:"temperature_u_per_k"`
	Basis            string   `json:"basis"` // readings, nameplate or class
	NameplatePerK    *float64 `json:"nameplate_per_k"`
	// KeptHot is the power with cells of 65 C over that with cells of 25 C.
	KeptHot  float64 `json:"kept_hot"`
	KeptHotU float64 `json:"kept_hot_u"`
	Sentence string  `json:"sentence"`
}

// A WeakLightConclusion is how a panel's efficiency falls with the light.
type WeakLightConclusion struct {
	// Efficiency is that at 200 W/m2 over that at 1000 W/m2, cells at one temperature, with
	// its standard uncertainty.
	Efficiency  float64 `json:"efficiency"`
	EfficiencyU float64 `json:"efficiency_u"`
	Basis       string  `json:"basis"` // readings or class
	// Slope is how ln P grows with ln(G/1000 W/m2) beside the usual curve.
	Slope    float64 `json:"slope"`
	SlopeU   float64 `json:"slope_u"`
	Sentence string  `json:"sentence"`
}

// A SessionOrder is a panel's place among those of one session, which share its sky, rig
// and tester.
type SessionOrder struct {
	SessionID uuid.UUID      `json:"session_id"`
	TesterID  uuid.UUID      `json:"tester_id"`
	TakenAt   time.Time      `json:"taken_at"` // of the first reading
	Place     int            `json:"place"`    // by share of rating, 1 the best
	Panels    []SessionPlace `json:"panels"`   // the best first
}

// A SessionPlace is one panel model in the order of a session.
type SessionPlace struct {
	PanelModel    string  `json:"panel_model"`
	ShareOfRating float64 `json:"share_of_rating"` // mean of its readings
	// ShareU is the standard uncertainty without what all panels of a session share.
	ShareU float64 `json:"share_u"`
	// AheadOfNext tells whether the next differs by more than 95 % of chance.
	AheadOfNext bool `json:"ahead_of_next"`
}
