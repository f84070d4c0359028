package fieldtest

// A Result is a reading normalised to standard test conditions.
type Result struct {
	StcPowerW        float64          `json:"stc_power_w"`
	StcPowerUW       float64          `json:"stc_power_u_w"` // standard uncertainty, k = 1
	StcPowerLoW      float64          `json:"stc_power_lo_w"`
	StcPowerHiW      float64          `json:"stc_power_hi_w"`
	Coverage         float64          `json:"coverage"`
	ShareOfRating    *float64         `json:"share_of_rating"`
	Method           string           `json:"method"`
	IrradianceOrigin Origin           `json:"irradiance_origin"`
	Parts            UncertaintyParts `json:"uncertainty_parts"`
	EffectiveWM2     float64          `json:"effective_irradiance_w_m2"`
	CellC            float64          `json:"cell_temperature_c"`
	CellMethod       string           `json:"cell_temperature_method"`
	Retention        *Retention       `json:"retention"`
	Defaults         []string         `json:"defaults"` // what was not given and what was taken instead
	// Slope parts: relative standard uncertainties that a panel's own temperature
	// coefficient and low-light curve would remove (statistics, two-stage slopes).
	GammaRelative    float64 `json:"u_gamma_relative"`
	LowLightRelative float64 `json:"u_low_light_relative"`
	Rankable         bool    `json:"rankable"`
	RankableReason   string  `json:"rankable_reason,omitempty"` // why it stays out of the rankings though normalised
}

// UncertaintyParts are relative standard uncertainties by what shares them.
type UncertaintyParts struct {
	Reading float64 `json:"reading"` // shared by nothing
	Session float64 `json:"session"` // all readings of the session
	Rig     float64 `json:"rig"`     // all sessions of the rig version
	Model   float64 `json:"model"`   // everybody's readings of the panel model
	Common  float64 `json:"common"`  // all readings of all models
}

// A Retention compares a covered or flat reading with its reference in the session.
type Retention struct {
	Measure         string   `json:"measure"` // shade-retention or flat-retention
	Value           float64  `json:"value"`
	U               float64  `json:"u"` // standard, absolute
	CoverClass      string   `json:"cover_class,omitempty"`
	ReferenceLabel  string   `json:"reference_label"`
	SectionsCovered *int     `json:"sections_covered,omitempty"` // of a covered reading, as the next three
	SectionsTotal   *int     `json:"sections_total,omitempty"`
	Transmission    *float64 `json:"transmission,omitempty"`  // of light under the cover
	VoltageRatio    *float64 `json:"voltage_ratio,omitempty"` // the panel's voltage over that of the reference, where both were read
	SunPart         *float64 `json:"sun_part,omitempty"`      // expected share by sun angle alone
	HeatPart        *float64 `json:"heat_part,omitempty"`     // further share by usual heating
	Rest            *float64 `json:"rest,omitempty"`          // what is left: the panel's own
}

// A Step is one step of a derivation: exact numbers in, exact numbers out.
type Step struct {
	Step    string         `json:"step"`
	Model   string         `json:"model"`
	Source  string         `json:"source"`
	Inputs  map[string]any `json:"inputs"`
	Outputs map[string]any `json:"outputs"`
}
