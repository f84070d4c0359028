package explain

import (
	"fmt"
	"math"
	"strings"
)

func sunPosition(n numbers) string {
	zenith, ok := n.find("apparent_zenith_deg")
	azimuth, _ := n.find("azimuth_deg")
	if ok && zenith > 90 {
		return fmt.Sprintf("The sun stood %s deg below the horizon in the %s.", shown(zenith-90, ok, 1), direction(azimuth))
	}
	return fmt.Sprintf("The sun stood %s deg high in the %s (azimuth %s deg).", shown(90-zenith, ok, 1), direction(azimuth), n.show("azimuth_deg", 1))
}

func extraterrestrial(n numbers) string {
	return fmt.Sprintf("Above the air it shone with %s W/m2, as on day %s of the year.", n.show("normal_w_m2", 0), n.show("day_of_year", 0))
}

func airMass(n numbers) string {
	if !n.has("relative") {
		return "With the sun below the horizon there is no path through the air to speak of."
	}
	return fmt.Sprintf("Its slanting path held %s times the air straight overhead, %s times that over the sea.", n.show("relative", 2), n.show("absolute", 2))
}

func clearSky(n numbers) string {
	return fmt.Sprintf("Under a clear sky of turbidity %s, level ground there would get %s W/m2: a beam of %s W/m2 and %s W/m2 from the sky.",
		n.show("linke_turbidity", 1), n.show("ghi_w_m2", 0), n.show("dni_w_m2", 0), n.show("dhi_w_m2", 0))
}

func decomposition(n numbers) string {
	return fmt.Sprintf("Of the %s W/m2 measured on level ground, %s %% are taken to come from the sky and the rest straight from the sun.",
		n.show("ghi_w_m2", 0), n.percent("diffuse_fraction", 0))
}

func incidence(n numbers) string {
	if angle, ok := n.find("angle_deg"); ok && angle >= 90 {
		return fmt.Sprintf("The panel faced away from the sun, %s deg off.", n.show("angle_deg", 1))
	}
	return fmt.Sprintf("The sun met the panel %s deg off square.", n.show("angle_deg", 1))
}

func transposition(n numbers) string {
	makes := "In the plane of the panel that makes"
	if n.text("origin") == "measured" {
		makes = "Such a sky would send to the plane of the panel"
	}
	return fmt.Sprintf(makes+" %s W/m2: %s from the beam, %s from the sky and %s from the ground. Another model of the sky makes it %s W/m2.",
		n.show("poa_w_m2", 0), n.show("beam_w_m2", 0), n.show("sky_diffuse_w_m2", 0), n.show("ground_w_m2", 0), n.show("poa_perez_w_m2", 0))
}

func modifier(n numbers) string {
	ground := ""
	if n.has("ground") {
		ground = fmt.Sprintf(" and %s %% of the ground's", n.percent("ground", 1))
	}
	return fmt.Sprintf("The front sheet lets %s %% of the beam through, %s %% of the sky's light%s, compared with light from straight ahead.",
		n.percent("beam", 1), n.percent("sky", 1), ground)
}

func effective(n numbers) string {
	text, made := "", "The cells made"
	if n.text("origin") == "measured" {
		text = fmt.Sprintf("The light meter showed %s W/m2 in the plane of the panel. ", n.show("poa_w_m2", 0))
	}
	if k, ok := n.find("high_site_factor"); ok {
		text = fmt.Sprintf("So high up the model of a clear sky sends too much light down: %s %% are taken off. ", shown(100*(1-k), true, 1))
	}
	if _, ok := n.in["assumes"]; ok {
		made = "With " + n.text("assumes") + " the cells would have made"
	}
	if weight, ok := n.find("incidence_weight"); ok && weight != 1 {
		text += fmt.Sprintf("Of that %s %% pass the front sheet at this slant. ", n.percent("incidence_weight", 1))
	}
	text += fmt.Sprintf(made+" current of %s W/m2", n.show("effective_w_m2", 0))
	if rear, ok := n.find("rear_w_m2"); ok && rear > 0 {
		text += fmt.Sprintf(", with %s W/m2 on the rear counted at %s %%", n.show("rear_w_m2", 0), n.percent("bifaciality", 0))
	}
	return text + "."
}

func cellTemperature(n numbers) string {
	text := fmt.Sprintf("The cells were at %s C", n.show("cell_c", 1))
	if n.has("u_cell_k") {
		text += fmt.Sprintf(", give or take %s K", n.show("u_cell_k", 1))
	}
	text += ", " + heatBy(n) + "."
	for _, other := range each(n.out["not_used"]) {
		text += " " + notUsed(numbers{nil, other})
	}
	return text
}

// heatBy says what told the temperature of the cells.
func heatBy(n numbers) string {
	switch n.text("method") {
	case "back temperature":
		return fmt.Sprintf("by a sensor on the panel at %s C", n.show("module_c", 1))
	case "from voc":
		return fmt.Sprintf("by the panel's open-circuit voltage of %s V (%s V at standard conditions, by %s)",
			n.show("open_circuit_voltage_v", 2), n.show("voc_stc_v", 2), n.text("voc_stc_of"))
	case "king mean flat":
		return fmt.Sprintf("by a thermal model of a panel on the ground in air of %s C and wind of %s m/s", n.show("air_temperature_c", 1), n.show("wind_speed_m_s", 1))
	case "king open rack polymer":
		return fmt.Sprintf("by a thermal model in air of %s C and wind of %s m/s (the back at %s C)", n.show("air_temperature_c", 1), n.show("wind_speed_m_s", 1), n.show("module_c", 1))
	}
	return "by " + n.text("method")
}

// notUsed says why one kind of evidence was not taken.
func notUsed(n numbers) string {
	if !n.has("cell_c") || !n.has("u_cell_k") {
		return capital(n.text("reason")) + "."
	}
	name := map[string]string{"back temperature": "The sensor", "from voc": "The open-circuit voltage"}[n.text("method")]
	if name == "" {
		name = "The thermal model"
	}
	return fmt.Sprintf("%s would say %s C, give or take %s K: %s.", name, n.show("cell_c", 1), n.show("u_cell_k", 1), n.text("reason"))
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

func limitsStep(n numbers) string {
	return fmt.Sprintf("%d rules of physics and nameplate looked at the reading; %d had too little to go by.", length(n.out["checked"]), length(n.out["skipped"]))
}

func wiring(n numbers) string {
	text := fmt.Sprintf("The meter showed %s W; at the terminals of the panel that was %s W", n.show("measured_power_w", 1), n.show("terminal_power_w", 1))
	if losses := lossesOf(n); len(losses) > 0 {
		text += ", with " + strings.Join(losses, " and ")
	}
	return text + "."
}

// lossesOf are what lies between panel and meter.
func lossesOf(n numbers) []string {
	var list []string
	if eta, ok := n.find("converter_efficiency"); ok && eta != 1 {
		list = append(list, fmt.Sprintf("a converter of %s %% that takes %s W for itself", n.percent("converter_efficiency", 0), n.show("self_consumption_w", 0)))
	}
	if side, ok := n.find("side_factor"); ok && side != 1 {
		list = append(list, fmt.Sprintf("%s %% for a converter that may lie between", shown(100*(side-1), true, 1)))
	}
	if share, ok := n.find("cable_loss_share"); ok && share > 0 {
		list = append(list, fmt.Sprintf("%s %% lost in a cable that is not described", n.percent("cable_loss_share", 0)))
	}
	ohm, _ := n.find("resistance_ohm")
	if current, ok := n.find("current_a"); ok && current*current*ohm >= 0.05 {
		list = append(list, fmt.Sprintf("%s W lost by %s A in %s ohm of cable", shown(current*current*ohm, true, 1), n.show("current_a", 2), n.show("resistance_ohm", 3)))
	}
	return list
}

func lowLight(n numbers) string {
	return fmt.Sprintf("In that light a panel works at %s %% of its efficiency in full sun.", n.percent("relative_efficiency", 2))
}

func sweepPoints(n numbers) string {
	return fmt.Sprintf("Of the %s points of the curve %s lie far beside the others and have no part in what follows.", n.show("points", 0), n.show("left_out", 0))
}

func curve(n numbers) string {
	how := "The whole curve, carried to standard test conditions,"
	if n.has("fraction") {
		how = fmt.Sprintf("Standard test conditions lie between this curve and that of reading %s (%s %% of the way); the curve between them", n.text("other_label"), n.percent("fraction", 0))
	}
	return fmt.Sprintf("%s has its maximum of %s V and %s A, %s W.", how, n.show("vmp_v", 2), n.show("imp_a", 2), n.show("pmp_w", 1))
}

func stcPower(n numbers) string {
	text := "At standard test conditions (1000 W/m2, cells at 25 C) the panel would give"
	if n.text("arrangement") == "covered" {
		text = "At standard test conditions (1000 W/m2, cells at 25 C) the panel, covered as it was, would give"
	}
	text += fmt.Sprintf(" %s W", n.show("power_w", 1))
	if n.has("share_of_rating") {
		text += fmt.Sprintf(", %s %% of its rated power", n.percent("share_of_rating", 1))
	}
	text += "."
	if n.has("gamma_pmax_per_k") {
		text += fmt.Sprintf(" Its power changes by %s %% a kelvin.", n.percent("gamma_pmax_per_k", 2))
	}
	if tracker, ok := n.find("tracker_factor"); ok && tracker != 1 {
		text += fmt.Sprintf(" The rig is taken to find %s %% of the maximum.", n.percent("tracker_factor", 1))
	}
	return text
}

func shading(n numbers) string {
	text := fmt.Sprintf("Covered, the panel kept %s %% of its power.", n.percent("retained", 1))
	if c := n.text("conclusion"); c != "undecided" {
		return text + " Among the usual circuits, " + c + " explains that best."
	}
	return text + " That does not settle how its cells are wired."
}

func flat(n numbers) string {
	return fmt.Sprintf("Lying flat, the sun's angle alone leaves %s %% of the light and the usual heat %s %% of the power in it; of what is left to the panel itself it kept %s %%.",
		n.percent("sun_part", 1), n.percent("heat_part", 1), n.percent("retained", 1))
}

func uncertainty(n numbers) string {
	value, ok := n.find("value_w")
	standard, _ := n.find("standard_w")
	text := fmt.Sprintf("The standard uncertainty is %s W (%s %%).", n.show("standard_w", 1), shown(100*standard/value, ok, 1))
	if name, share := heaviest(n.out["parts"]); name != "" {
		text += fmt.Sprintf(" Its largest part is that of %s (%s %%).", partWord(name), shown(100*share, !math.IsNaN(share), 1))
	}
	return text
}
