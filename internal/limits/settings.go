package limits

// Settings holds the numbers of the rules that rest on common practice rather
// than on a publication, so that they can be retuned on accepted data without
// touching a rule. Fractions are relative (0.05 is 5 %).
type Settings struct {
	// How far a real Isc and Voc may lie above the nameplate. The hold value of
	// the current gives way to a larger stated power tolerance.
	CurrentToleranceHold   float64 `json:"current_tolerance_hold"`
	CurrentToleranceReject float64 `json:"current_tolerance_reject"`
	VoltageToleranceHold   float64 `json:"voltage_tolerance_hold"`
	VoltageToleranceReject float64 `json:"voltage_tolerance_reject"`
	// Least upper power tolerance granted to any nameplate.
	PowerTolerance float64 `json:"power_tolerance"`
	// Tolerance of a stated area.
	AreaTolerance float64 `json:"area_tolerance"`

	// How far the sun may exceed the clear sky of an unmetered reading, from the
	// published cloud-enhancement records.
	ClearHold      float64 `json:"sky_clear_hold"` // clear, thin haze, haze
	ClearReject    float64 `json:"sky_clear_reject"`
	OvercastHold   float64 `json:"sky_overcast_hold"`
	OvercastReject float64 `json:"sky_overcast_reject"`
	UnknownHold    float64 `json:"sky_unknown_hold"`
	UnknownReject  float64 `json:"sky_unknown_reject"`
	CloudHold      float64 `json:"sky_cloud_hold"` // scattered, broken
	CloudReject    float64 `json:"sky_cloud_reject"`
	// Highest irradiance at the surface that any reading may claim, W/m2; just
	// above the published record of 2177.
	RecordWM2 float64 `json:"record_w_m2"`

	// Standard uncertainties where none is stated.
	UAirK          float64 `json:"u_air_k"`
	UPlaneDeg      float64 `json:"u_plane_deg"`
	UVoltage       float64 `json:"u_voltage"`
	UCurrent       float64 `json:"u_current"`
	UPower         float64 `json:"u_power"`
	UPOA           float64 `json:"u_poa"`
	URear          float64 `json:"u_rear"`
	USpread        float64 `json:"u_current_irradiance"` // meter against panel: spectrum, incidence, spread
	UFillFactor    float64 `json:"u_nameplate_fill_factor"`
	USameDisplay   float64 `json:"u_same_display"` // P against V I on one display, of P
	UConverter     float64 `json:"u_converter"`    // of P, battery side
	UConverterW    float64 `json:"u_converter_w"`
	CellsUnderAirK float64 `json:"cells_under_air_k"` // radiative cooling under a clear sky
	ColdestC       float64 `json:"coldest_c"`         // coldest and hottest cell without any temperature
	HottestC       float64 `json:"hottest_c"`

	// Nameplate entries that stand in for missing ones; where the lenient side
	// depends on the temperature, there is one for each side of 25 C.
	AlphaPerK    float64 `json:"alpha_per_k"`
	BetaColdPerK float64 `json:"beta_cold_per_k"`
	BetaWarmPerK float64 `json:"beta_warm_per_k"`
	GammaSpread  float64 `json:"gamma_spread_per_k"`
	VocPerCellV  float64 `json:"voc_per_cell_v"`
	VmpOfVoc     float64 `json:"vmp_of_voc"`
	// Vmp loses more with heat than Voc, by this much.
	BetaVmpPerK   float64 `json:"beta_vmp_minus_beta_voc_per_k"`
	FillHold      float64 `json:"fill_factor_hold"`
	FillReject    float64 `json:"fill_factor_reject"`
	TandemFill    float64 `json:"tandem_fill_factor_hold"`
	TandemFillTop float64 `json:"tandem_fill_factor_reject"`

	// Controllers.
	ConverterEfficiency float64 `json:"converter_efficiency"`
	ConverterSelfW      float64 `json:"converter_self_w"`
	HeadroomV           float64 `json:"headroom_v"`
	PWMSpreadV          float64 `json:"pwm_spread_v"`

	// Series-made modules reach about this efficiency; above it a claim is held.
	EfficiencyHold       float64 `json:"efficiency_hold"`
	TandemEfficiencyHold float64 `json:"tandem_efficiency_hold"`
}

// Default returns the settings in force without an override: common practice of
// the trade, no source, except RecordWM2 and the sky factors, which stand just
// above published records.
func Default() Settings {
	return Settings{
		CurrentToleranceHold: 0.05, CurrentToleranceReject: 0.10,
		VoltageToleranceHold: 0.03, VoltageToleranceReject: 0.06,
		PowerTolerance: 0.05, AreaTolerance: 0.02,
		ClearHold: 1.05, ClearReject: 1.15, OvercastHold: 1.05, OvercastReject: 1.25,
		UnknownHold: 1.25, UnknownReject: 1.6, CloudHold: 1.25, CloudReject: 2.0,
		RecordWM2: 2200,
		UAirK:     1, UPlaneDeg: 3, UVoltage: 0.01, UCurrent: 0.02, UPower: 0.025, UPOA: 0.05,
		URear: 0.4, USpread: 0.03, UFillFactor: 0.005, USameDisplay: 0.005,
		UConverter: 0.021, UConverterW: 1,
		CellsUnderAirK: 5, ColdestC: -20, HottestC: 110,
		AlphaPerK: 0.0005, BetaColdPerK: -0.0036, BetaWarmPerK: -0.0022, GammaSpread: 0.0010,
		VocPerCellV: 0.761, VmpOfVoc: 0.835, BetaVmpPerK: -0.0007,
		FillHold: 0.86, FillReject: 0.89, TandemFill: 0.90, TandemFillTop: 0.92,
		ConverterEfficiency: 0.96, ConverterSelfW: 1, HeadroomV: 0.3, PWMSpreadV: 1.0,
		EfficiencyHold: 0.25, TandemEfficiencyHold: 0.35,
	}
}
