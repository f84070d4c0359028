package limits

// Group is a family of rules.
type Group string

// The groups.
const (
	GroupNameplate   Group = "reading against sun and nameplate"
	GroupSky         Group = "sun and sky"
	GroupTemperature Group = "temperatures"
	GroupOperation   Group = "operating point and rig"
	GroupPair        Group = "comparisons within a session"
	GroupModel       Group = "nameplate"
	GroupSlip        Group = "slips"
)

// A RuleInfo describes a rule for documents and for the API.
type RuleInfo struct {
	RuleText
	Figures
}

// RuleText is what people wrote of a rule.
type RuleText struct {
	ID         string     `json:"id"`
	Group      Group      `json:"group"`
	Severities []Severity `json:"severities"` // that it can give, worst first
	Doubts     string     `json:"doubts"`     // what it doubts, in one sentence
	Source     string     `json:"source"`
}

type ruleIndex uint8

const (
	ruleCurrentAboveIsc ruleIndex = iota
	ruleVoltageAboveVoc
	rulePowerAboveRating
	rulePowerAboveDiode
	rulePowerAboveSun
	rulePowerNotVI
	ruleCurrentConflict
	ruleAboveClearSky
	ruleHorizontalImpossible
	ruleSunBelowHorizon
	ruleSunBehindPanel
	ruleBelowClearSky
	ruleHorizontalForPlane
	ruleSunTooLow
	ruleIrradianceTooLow
	ruleCellTemperature
	ruleAirTemperature
	ruleWind
	ruleTransient
	ruleOffMaximum
	ruleHeadroom
	ruleNotTracker
	ruleClipped
	ruleThrottled
	ruleOpenCircuitLow
	ruleCableLoss
	ruleResolution
	ruleCovered
	ruleRetention
	ruleSunDrift
	ruleFlatRatio
	ruleSweep
	ruleResultLow
	ruleResultHigh
	ruleFillFactor
	ruleEfficiency
	rulePowerMismatch
	ruleOrder
	ruleCoefficients
	ruleCells
	ruleSize
	ruleUnitSlip
	ruleCount
)

const (
	practice   = "common practice, no source"
	fromRating = "nameplate, temperature coefficients and irradiance at their lenient bounds; tolerances common practice"
	bsrn       = "C. Long, E. Dutton, BSRN QC tests V2.0 (2002)"
	records    = "R. Cordero et al., BAMS 104(6) (2023); P. Emck, M. Richter, J. Appl. Meteorol. Climatol. 47 (2008); G. Yordanov et al., IEEE J. Photovoltaics 3(1) (2013)"
	greenFF    = "M. Green, Solar Cells 7 (1982) 337-340"
	listing    = "span of 36139 listed nameplates"
)

var (
	rejectHold     = []Severity{Reject, Hold}
	rejectHoldNote = []Severity{Reject, Hold, Note}
	holdNote       = []Severity{Hold, Note}
	onlyReject     = []Severity{Reject}
	onlyHold       = []Severity{Hold}
	onlyNote       = []Severity{Note}
)

var catalogue = [ruleCount]RuleText{
	{"current_above_isc", GroupNameplate, rejectHold, "More current than the short-circuit current allows in this light.", fromRating},
	{"voltage_above_voc", GroupNameplate, rejectHold, "More voltage than the open-circuit voltage allows in this cold.", fromRating},
	{"power_above_rating", GroupNameplate, onlyHold, "More power than the rating allows in this light.", fromRating},
	{"power_above_diode_bound", GroupNameplate, rejectHold, "More power than any diode with this current and voltage delivers.", greenFF},
	{"power_above_sun", GroupNameplate, onlyReject, "More power than cells of this kind can make of the light on them.", "A. Richter et al. (2013); W. Shockley, H. Queisser (1961)"},
	{"power_not_v_times_i", GroupNameplate, rejectHold, "Power, voltage and current that do not belong together.", "rounding of three displays; JCGM 100:2008, F.2.2.1"},
	{"current_irradiance_conflict", GroupNameplate, holdNote, "A current that stands for more light than the meter saw.", "IEC 60904-2 idea, the panel as its own sensor; limits " + practice},
	{"irradiance_above_clear_sky", GroupSky, rejectHoldNote, "More light than the sky can send.", records},
	{"horizontal_irradiance_impossible", GroupSky, rejectHold, "More light on the horizontal than the sun allows.", bsrn},
	{"sun_below_horizon", GroupSky, onlyReject, "Light, power or current while the sun is down.", "position of the sun with refraction"},
	{"sun_behind_panel", GroupSky, rejectHold, "Direct light on a panel turned away from the sun.", bsrn},
	{"irradiance_below_clear_sky", GroupSky, holdNote, "Too little light for a sky called clear.", practice},
	{"horizontal_taken_for_plane", GroupSky, onlyNote, "A horizontal irradiance given as that of the plane.", practice},
	{"sun_too_low", GroupSky, onlyNote, "A sun so low that spectrum, incidence and tilt decide the result.", practice},
	{"irradiance_too_low", GroupSky, onlyNote, "Too little light to rank the result.", practice},
	{"cell_temperature_implausible", GroupTemperature, rejectHold, "A cell temperature that air, light and wind do not explain.", "D. King et al., SAND2004-3535 (2004), eq. 11; factors common practice"},
	{"air_temperature_implausible", GroupTemperature, rejectHold, "An air temperature that people do not measure panels in.", practice},
	{"wind_implausible", GroupTemperature, rejectHold, "A wind in which no folding panel stands.", practice},
	{"thermal_transient", GroupTemperature, onlyNote, "A panel that is still warming up, or may be.", practice},
	{"off_maximum_power", GroupOperation, holdNote, "An operating point away from the maximum power point.", practice},
	{"headroom_conflict", GroupOperation, onlyHold, "A panel voltage that this controller cannot have with this battery.", practice},
	{"not_a_tracker", GroupOperation, onlyHold, "A rig that does not look for the maximum power point.", practice},
	{"clipped_by_controller", GroupOperation, holdNote, "A controller at its own limit.", practice},
	{"throttled_by_battery", GroupOperation, onlyHold, "A load that takes less than the panel offers.", practice},
	{"open_circuit_low", GroupOperation, holdNote, "An open-circuit voltage too low for this panel.", fromRating},
	{"cable_loss_large", GroupOperation, holdNote, "A cable that eats much of the power.", "IEC 60028; limits " + practice},
	{"resolution_coarse", GroupOperation, onlyNote, "A display too coarse for the value.", "JCGM 100:2008, F.2.2.1; limits " + practice},
	{"covered_above_uncovered", GroupPair, rejectHold, "A covered panel that beats itself uncovered.", "a cover takes light away; guard bands of JCGM 106:2012"},
	{"retention_above_bound", GroupPair, onlyHold, "A covered panel that keeps more than the uncovered share.", "a section without light delivers nothing"},
	{"sun_drift", GroupPair, onlyNote, "Sun that changed between two readings to be compared.", practice},
	{"flat_ratio_conflict", GroupPair, holdNote, "A flat-to-tilted ratio that sun angle and heat do not explain.", practice},
	{"sweep_not_monotonic", GroupPair, onlyHold, "A sweep whose current rises with voltage.", "diode equation; noise of two points at two standard deviations"},
	{"result_far_below_rating", GroupPair, holdNote, "A result that hardly any sound panel gives: shade, a fault, or another panel.", practice},
	{"result_above_rating", GroupPair, holdNote, "A result above what makers leave to their customers.", practice},
	{"fill_factor_impossible", GroupModel, rejectHold, "A fill factor that no cell has, or that hardly any has.", greenFF},
	{"efficiency_above_limit", GroupModel, rejectHold, "More power than the area can yield.", "A. Richter et al. (2013); W. Shockley, H. Queisser (1961); hold " + practice},
	{"nameplate_power_mismatch", GroupModel, rejectHoldNote, "A rating that is not Vmp times Imp.", practice},
	{"nameplate_order", GroupModel, rejectHold, "Maximum-power values that do not fit Voc and Isc.", listing},
	{"nameplate_coefficients", GroupModel, rejectHoldNote, "Temperature coefficients outside what panels have.", listing},
	{"nameplate_cells", GroupModel, onlyNote, "A number of cells that does not fit Voc.", listing},
	{"size_inconsistent", GroupModel, rejectHold, "Areas and mass that do not fit together.", practice},
	{"unit_slip", GroupSlip, onlyHold, "A value that makes sense in another unit only.", "exact conversion factors; plausible ranges common practice"},
}

// Rules returns the catalogue of all rules, group by group.
func Rules() []RuleInfo {
	list := make([]RuleInfo, ruleCount)
	for i, r := range catalogue {
		list[i] = RuleInfo{r, figures[r.ID]}
	}
	return list
}

func ruleID(r ruleIndex) string { return catalogue[r].ID }
