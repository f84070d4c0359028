package limits

// Figures say what a rule costs and what it finds, as shares from 0 to 1; nil where the
// worlds that they are computed in have no case. TestRuleFigures of package demo computes
// them over invented sessions (own simulation, no published source) and fails when they
// differ by more than their sampling error.
type Figures struct {
	FalseAlarmReadings *float64 `json:"false_alarm_readings"` // of honest readings, on which it fires
	FalseAlarmSessions *float64 `json:"false_alarm_sessions"` // of honest sessions, in which it fires
	Power              *float64 `json:"power"`                // of sessions with its fault, in which it fires anew
}

// figures holds them by rule.
var figures = map[string]Figures{
	"current_above_isc":                {new(0.0), new(0.0), new(1.00)},
	"voltage_above_voc":                {new(0.0), new(0.0), new(1.00)},
	"power_above_rating":               {new(0.0), new(0.0), new(0.98)},
	"power_above_diode_bound":          {new(0.0), new(0.0), new(0.98)},
	"power_above_sun":                  {new(0.0), new(0.0), new(0.95)},
	"power_not_v_times_i":              {new(0.0), new(0.0), new(1.00)},
	"current_irradiance_conflict":      {new(0.0), new(0.0), new(0.61)},
	"irradiance_above_clear_sky":       {new(0.0), new(0.0), new(0.80)},
	"horizontal_irradiance_impossible": {new(0.0), new(0.0), nil},
	"sun_below_horizon":                {new(0.0), new(0.0), new(0.74)},
	"sun_behind_panel":                 {new(0.0), new(0.0), new(0.33)},
	"irradiance_below_clear_sky":       {new(0.0), new(0.0), new(0.24)},
	"horizontal_taken_for_plane":       {new(0.0), new(0.0), nil},
	"sun_too_low":                      {new(0.0611), new(0.0752), nil},
	"irradiance_too_low":               {new(0.0490), new(0.0747), nil},
	"cell_temperature_implausible":     {new(0.0), new(0.0), new(0.61)},
	"air_temperature_implausible":      {new(0.0), new(0.0), nil},
	"wind_implausible":                 {new(0.0), new(0.0), nil},
	"thermal_transient":                {new(0.0), new(0.0), nil},
	"off_maximum_power":                {new(0.0001), new(0.0005), new(0.74)},
	"headroom_conflict":                {new(0.0), new(0.0), new(0.78)},
	"not_a_tracker":                    {new(0.0), new(0.0), new(1.00)},
	"clipped_by_controller":            {new(0.0), new(0.0), nil},
	"throttled_by_battery":             {new(0.0), new(0.0), new(0.53)},
	"open_circuit_low":                 {new(0.0), new(0.0), new(0.83)},
	"cable_loss_large":                 {new(0.0), new(0.0), new(0.72)},
	"resolution_coarse":                {new(0.0103), new(0.0498), nil},
	"covered_above_uncovered":          {new(0.0), new(0.0), new(1.00)},
	"retention_above_bound":            {new(0.0), new(0.0), new(1.00)},
	"sun_drift":                        {new(0.0453), new(0.1092), nil},
	"flat_ratio_conflict":              {new(0.0), new(0.0), new(0.82)},
	"sweep_not_monotonic":              {new(0.0), new(0.0), new(1.00)},
	"result_far_below_rating":          {new(0.0), new(0.0), new(0.11)},
	"result_above_rating":              {new(0.0), new(0.0), new(0.19)},
	"fill_factor_impossible":           {new(0.0), new(0.0), new(1.00)},
	"efficiency_above_limit":           {new(0.0), new(0.0), new(1.00)},
	"nameplate_power_mismatch":         {new(0.0), new(0.0), new(1.00)},
	"nameplate_order":                  {new(0.0), new(0.0), new(1.00)},
	"nameplate_coefficients":           {new(0.0), new(0.0), new(1.00)},
	"nameplate_cells":                  {new(0.0), new(0.0), new(1.00)},
	"size_inconsistent":                {new(0.0), new(0.0), new(1.00)},
	"unit_slip":                        {new(0.0), new(0.0), new(0.83)},
}
