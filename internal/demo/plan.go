package demo

import "evensun/internal/fieldtest"

// plan is what a tester set out to do.
type plan struct {
	rig         int
	site        int
	daysBefore  int // the last day
	fromNoonMin int // start, minutes from mean solar noon
	sky         fieldtest.SkyCondition
	sensor      fieldtest.Sensor // empty: no light meter
	back        bool             // a thermocouple behind every panel
	also        extras
	panels      []int
	note        string
	mistake     mistake
}

// extras are readings beside the tilted ones.
type extras uint8

const (
	flat extras = 1 << iota
	covered
	terminals // open circuit and short circuit
	sweeps
)

const (
	clear   = fieldtest.Clear
	haze    = fieldtest.ThinHaze
	unknown = fieldtest.UnknownSky
	cell    = fieldtest.ReferenceCell
	silicon = fieldtest.SiliconPyranometer
	thermo  = fieldtest.ThermopilePyranometer
	nothing = fieldtest.Sensor("")
)

// plans returns the sessions in the order in which they are submitted. The first panel
// is read again at the end of each.
func plans() []plan {
	return []plan{
		{clubBench, larkmoor, 6, -70, clear, cell, true, flat | covered, []int{tarn200, halden160, orrin220, ostrel300}, "north lawn, everyone helped unfolding", mistake{}},
		{mirelleInline, tallowPan, 6, -60, clear, silicon, true, covered, []int{tarn200, quill120, calbrae140}, "van parked well clear of the panels", mistake{}},
		{tobinStation, brackenveld, 6, -50, clear, nothing, false, flat, []int{tarn100, halden250, orrin400}, "", mistake{}},
		{sefaBattery, mistHill, 6, -60, haze, cell, true, flat | covered, []int{fennick110, drunnel90, tarn200}, "battery run down the evening before", mistake{}},
		{raviInverter, ambersend, 5, -60, clear, thermo, true, flat, []int{orrin400, ostrel300, halden250}, "dust wiped off before the first reading", mistake{}},
		{junoClamp, larkmoor, 5, -40, clear, cell, false, terminals, []int{quill60, quill120, tarn100}, "probes straight on the connectors", mistake{}},
		{anselmDisplay, tallowPan, 5, -60, clear, silicon, true, flat | covered, []int{halden160, calbrae140, orrin220}, "", mistake{}},
		{clubLoad, larkmoor, 5, 10, clear, cell, true, sweeps, []int{tarn200, quill120, fennick110}, "curves for the club's folder", mistake{}},
		{clubBench, larkmoor, 4, -80, clear, cell, true, flat | covered, []int{quill60, fennick110, drunnel90, halden250, tarn100}, "second day, a little more wind", mistake{}},
		{mirelleInline, tallowPan, 4, -60, clear, silicon, true, flat | covered, []int{orrin220, halden160, tarn200}, "", mistake{}},
		{tobinStation, brackenveld, 4, -30, clear, cell, true, flat, []int{calbrae140, ostrel300, orrin400, quill120}, "borrowed the reference cell", mistake{}},
		{sefaBattery, mistHill, 4, -60, clear, cell, true, flat | covered, []int{halden160, quill60, fennick110}, "morning mist was gone by ten", mistake{}},
		{raviInverter, ambersend, 4, -60, clear, thermo, true, flat | covered, []int{orrin220, halden250, calbrae140}, "", mistake{}},
		{junoClamp, larkmoor, 3, -40, unknown, cell, true, covered, []int{drunnel90, tarn100, tarn200}, "", mistake{}},
		{anselmDisplay, tallowPan, 3, -50, clear, silicon, true, flat | covered, []int{ostrel300, orrin400, tarn200}, "long lead, stated as it is", mistake{}},
		{clubBench, larkmoor, 3, -70, clear, cell, true, flat | covered, []int{calbrae140, quill120, halden250, orrin400}, "", mistake{}},
		{mirelleInline, tallowPan, 3, -50, fieldtest.ScatteredCloud, silicon, true, 0, []int{drunnel90, fennick110, ostrel300}, "waited for gaps between the clouds", mistake{}},
		{tobinStation, brackenveld, 3, -50, clear, nothing, false, covered, []int{quill60, tarn200, halden160}, "", mistake{}},
		{sefaBattery, mistHill, 2, -50, haze, cell, true, flat | covered, []int{tarn100, quill120, orrin220}, "smoke from the fields on the horizon", mistake{}},
		{raviInverter, ambersend, 2, -50, clear, thermo, true, covered, []int{tarn200, orrin400, halden160}, "", mistake{}},
		{junoClamp, larkmoor, 2, -50, clear, cell, true, terminals, []int{calbrae140, halden160, ostrel300}, "clamp zeroed before each reading", mistake{}},
		{anselmDisplay, tallowPan, 2, -60, clear, silicon, true, flat, []int{quill120, halden250, fennick110, drunnel90}, "", mistake{}},
		{clubBench, larkmoor, 1, -80, clear, cell, true, covered, []int{ostrel300, orrin220, quill60, tarn200, calbrae140}, "last day, the whole club", mistake{}},
		{mirelleInline, tallowPan, 1, -60, clear, silicon, true, flat | covered, []int{orrin400, quill60, tarn100}, "", mistake{}},
		{tobinStation, brackenveld, 1, -50, unknown, cell, true, flat, []int{fennick110, drunnel90, orrin220}, "", mistake{}},
		{sefaBattery, mistHill, 1, -50, clear, cell, true, covered, []int{calbrae140, ostrel300, halden250}, "", mistake{}},

		{junoClamp, larkmoor, 1, -40, clear, nothing, false, terminals, []int{tarn200, calbrae140, quill120}, "", mistake{"current_above_isc", 0, highCurrent}},
		{anselmDisplay, tallowPan, 1, -40, clear, silicon, true, 0, []int{tarn100, halden160, orrin220}, "thermometer from the kitchen", mistake{"unit_slip", 0, fahrenheit}},
		{sefaBattery, mistHill, 3, 225, clear, cell, false, 0, []int{tarn200, fennick110, quill60}, "hot ground, left them where they lay", mistake{"irradiance_below_clear_sky", lyingDown, nil}},
		{raviInverter, ambersend, 1, 0, clear, thermo, false, 0, []int{orrin400, ostrel300, orrin220}, "", mistake{"irradiance_above_clear_sky", 0, earlierByThreeHours}},
		{anselmPWM, tallowPan, 4, -30, clear, silicon, true, 0, []int{tarn200, calbrae140, halden160}, "only the old controller was free", mistake{"not_a_tracker", heldAtBattery, nil}},
		{clubBench, larkmoor, 2, -50, clear, cell, true, 0, []int{orrin220, tarn200, halden160}, "batteries nearly full by noon", mistake{"throttled_by_battery", 0, throttled}},
		{mirelleInline, tallowPan, 2, -60, clear, silicon, true, 0, []int{tarn200, orrin220, quill120, halden160}, "packed up in a hurry", mistake{"mislabelled_panel", 0, swappedLabels}},
		{tobinStation, brackenveld, 2, -50, clear, cell, true, 0, []int{ostrel300, drunnel90, halden160}, "meter stood behind the tripod", mistake{"irradiance_below_clear_sky", 0, shadedMeter}},
		{junoClamp, larkmoor, 0, -50, clear, cell, true, covered, []int{calbrae140, quill120}, "", mistake{"covered_above_uncovered", 0, coverMixedUp}},
		{anselmDisplay, tallowPan, 0, -60, clear, nothing, false, 0, []int{calbrae140, halden160, quill120}, "same as before", mistake{"copied_session", 0, nil}},
	}
}
