package explain

// partWord says in words what part of an uncertainty a name stands for; a name that it
// does not know stays as it is.
func partWord(name string) string {
	switch name {
	case "light meter", "wind", "turbidity", "tilt", "azimuth", "tracker", "meter", "flicker":
		return "the " + name
	case "air":
		return "the air's temperature"
	case "temperature common":
		return "the thermal model of the cells, the same for all panels"
	case "temperature model":
		return "the cells' temperature, the same for all panels of this model"
	case "temperature sensor", "temperature reading", "temperature session":
		return "the cells' temperature"
	case "flat on the ground":
		return "the thermal model of a panel on the ground"
	case "warm up":
		return "the panel's warm-up"
	case "back to cell", "front to cell":
		return "the step from sensor to cells"
	case "light spectrum", "spectrum":
		return "the light's spectrum"
	case "unsteady light":
		return "a light that may not have been steady"
	case "plane":
		return "how well the meter lay in the plane of the panel"
	case "place rounded":
		return "the rounding of the place"
	case "split of horizontal":
		return "the way from the horizontal to the plane"
	case "sky model":
		return "the model of a clear sky"
	case "state of the sky":
		return "how clear the sky was"
	case "rear light":
		return "the light on the rear"
	case "low light efficiency":
		return "the panel's efficiency in less light"
	case "temperature coefficient":
		return "the temperature coefficient of power"
	case "cable not stated", "cable resistance", "cable current":
		return "the cable"
	case "side not stated":
		return "the side of the controller, which was not stated"
	case "time not given":
		return "the time of the reading, which was not given"
	case "altitude not given":
		return "the altitude, which was not given"
	}
	return name
}

// Reason says in words why a reading has no result, or, where it has one, why that is not
// ranked. Codes that it does not know are returned as they are.
func Reason(code string, hasResult bool) string {
	switch code {
	case "no_power":
		return "no power was read: it serves the rules and the other readings of its unit"
	case "not_a_tracker":
		return "this rig does not look for the panel's maximum power"
	case "sky_not_clear":
		return "with clouds about only a light meter can tell the light on the panel"
	case "sun_too_low":
		return "without a light meter the sun must stand 20 deg high or more"
	case "plane_unknown":
		return "without tilt and azimuth the light on the panel cannot be computed"
	case "irradiance_too_low":
		if hasResult {
			return "below 400 W/m2 panels are not compared"
		}
		return "below 100 W/m2 nothing is carried to standard test conditions"
	case "uncertainty_too_large":
		return "its uncertainty is too large to compare"
	case "sweep_not_usable":
		return "the sweep cannot be read as a curve"
	case "unit_slip":
		return "a value seems to stand in another unit"
	case "not_finite":
		return "the values yield no number"
	}
	return code
}

// Light says in words where an irradiance came from.
func Light(origin string) string {
	switch origin {
	case "measured":
		return "measured"
	case "from_ghi":
		return "computed from the horizontal"
	case "clear_sky":
		return "that of a clear sky"
	}
	return origin
}
