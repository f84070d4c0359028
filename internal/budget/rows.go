package budget

// The functions of this file append the default rows of one kind of input to a
// slice, so that a caller with room in its own array allocates nothing. Values
// are deviations from what was read, so 0, relative unless a name says K.

// AddInput appends the part of an input to which the result has the given
// relative sensitivity, d ln(result)/dx.
func (b *Budget) AddInput(in *Input, relativeSensitivity float64) {
	b.AddRelative(in.Name, in.Scope, relativeSensitivity*in.Standard(), in.DegreesOfFreedom)
}

func classRow(name string, scope Scope, width float64) Input {
	return Input{Name: name, Width: width, Distribution: Normal, Scope: scope, DegreesOfFreedom: ClassDegreesOfFreedom}
}

func boundRow(name string, scope Scope, value, half float64) Input {
	return Input{Name: name, Value: value, Width: half, Distribution: Rectangular, Scope: scope, DegreesOfFreedom: Certain()}
}

// appendIf leaves out rows of width 0.
func appendIf(rows []Input, more ...Input) []Input {
	for _, r := range more {
		if r.Width != 0 {
			rows = append(rows, r)
		}
	}
	return rows
}

// AppendTo appends the rows of an indicated power: "P" (rig), "Prep" (reading)
// and "Pres" (reading, the display).
func (s PowerShares) AppendTo(rows []Input) []Input {
	step := classRow("Pres", Reading, s.Step)
	step.DegreesOfFreedom = Certain()
	return appendIf(rows, classRow("P", Rig, s.Rig), classRow("Prep", Reading, s.Reading), step)
}

// AppendTo appends the rows of a metered irradiance: "Gcal" (rig), "Grep"
// (reading), "spec" (session) and "iam" (common, the weight of the incidence
// angle). sensorOffK is how far the sensor is from 25 C, 0 for one that corrects
// itself.
func (c Irradiance) AppendTo(rows []Input, sensorOffK float64) []Input {
	off := sensorOffK
	if off < 0 {
		off = -off
	}
	return appendIf(rows, classRow("Gcal", Rig, c.Rig+c.RigPerK*off), classRow("Grep", Reading, c.Reading),
		classRow("spec", Session, c.Spectrum), classRow("iam", Common, c.Angular))
}

// AppendTo appends the rows of a computed irradiance: "TL" (session, around the
// middle of its range), "model", "sky" (session), "tilt" (reading, degrees),
// "azim" (session, degrees) and "rho" (session). The values of tilt and azimuth
// are the plane's own and for the caller to set.
func (c ClearSky) AppendTo(rows []Input) []Input {
	middle, half := (c.TurbidityLow+c.TurbidityHigh)/2, (c.TurbidityHigh-c.TurbidityLow)/2
	return appendIf(rows, boundRow("TL", Session, middle, half), classRow("model", Session, c.Model), classRow("sky", Session, c.Sky),
		classRow("tilt", Reading, c.TiltDeg), classRow("azim", Session, c.AzimuthDeg), boundRow("rho", Session, c.Albedo, c.AlbedoHalfWidth))
}

// AppendTo appends the rows of a cell temperature, in K: "Tc_rig" (rig), "Tc_ses"
// (session), "Tc_read" (reading), "dT" (common, acts times G/1000), "Tmod"
// (model) and "Tmod_common" (common).
func (t Temperature) AppendTo(rows []Input) []Input {
	step := boundRow("dT", Common, t.BackToCellK, t.BackToCellHalfK)
	if t.BackToCellNormalK != 0 {
		step = classRow("dT", Common, t.BackToCellNormalK)
		step.Value = t.BackToCellK
	}
	return appendIf(rows, classRow("Tc_rig", Rig, t.RigK), classRow("Tc_ses", Session, t.SessionK), classRow("Tc_read", Reading, t.ReadingK),
		step, classRow("Tmod", Model, t.ModelK), classRow("Tmod_common", Common, t.CommonK))
}

// AppendTranslation appends the rows of the translation: "gamma" (model, 1/K),
// "e_dev" (model) and "meth" (common). stated says that gamma is the
// nameplate's.
func AppendTranslation(rows []Input, gammaPerK float64, stated bool, poaWM2 float64, thinFilm bool) []Input {
	half := GammaClassHalf
	if stated {
		half = GammaNameplateHalf
	}
	return appendIf(rows, boundRow("gamma", Model, gammaPerK, half),
		classRow("e_dev", Model, LowLightShare(poaWM2, thinFilm)), classRow("meth", Common, MethodShare))
}
