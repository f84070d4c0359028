package limits

import "math"

// CurrentAboveIsc returns the highest current in A that a panel can deliver:
//
//	Isc (1 + t) (GE/1000) (1 + alpha (T_hot - 25)) + k u(I)
//
// It bounds an operating current too, since the current of a panel falls with
// its voltage. iscA and alphaPerK are the nameplate's (alpha missing: the
// default, and 0 below 25 C), geHold and geReject the irradiance bounds of
// MeteredBound or UnmeteredBound in W/m2, toleranceHigh the upper power tolerance
// of the nameplate (NaN: not stated), hotC the hottest cell in C, uCurrentA the
// standard uncertainty of the reading.
func CurrentAboveIsc(set *Settings, iscA, alphaPerK, toleranceHigh, geHold, geReject, hotC, uCurrentA float64) Bounds {
	hold, reject := currentCeiling(set, iscA, alphaPerK, toleranceHigh, geHold, geReject, hotC)
	return guarded(hold, reject, uCurrentA)
}

// guarded puts the guard band of the reading on two limits.
func guarded(hold, reject, u float64) Bounds {
	return Bounds{math.NaN(), hold + kHold*u, reject + kReject*u}
}

func currentCeiling(set *Settings, iscA, alphaPerK, toleranceHigh, geHold, geReject, hotC float64) (hold, reject float64) {
	if !Given(alphaPerK) {
		alphaPerK = 0
		if hotC > stcC {
			alphaPerK = set.AlphaPerK
		}
	}
	tHold := max(set.CurrentToleranceHold, or(toleranceHigh, 0))
	tReject := max(set.CurrentToleranceReject, tHold)
	perWatt := iscA / stcWM2 * (1 + alphaPerK*(hotC-stcC))
	return perWatt * (1 + tHold) * geHold, perWatt * (1 + tReject) * geReject
}

// VoltageAboveVoc returns the highest voltage in V that a panel can show:
//
//	Voc (1 + t) (1 + beta (T_cold - 25)) (1 + d ln(GE/1000)) + k u(V)
//
// with d = 0.03 below 1000 W/m2 and 0.07 above, the lenient ends of the range of
// real diodes. vocV and betaPerK are the nameplate's (beta missing: -0.0036 below
// 25 C, -0.0022 above), geHold and geReject the irradiance bounds in W/m2 (below
// 1 W/m2 counts as 1), coldC the coldest cell in C, uVoltageV the standard
// uncertainty of the reading.
func VoltageAboveVoc(set *Settings, vocV, betaPerK, geHold, geReject, coldC, uVoltageV float64) Bounds {
	hold, reject := voltageCeiling(set, vocV, betaPerK, geHold, geReject, coldC)
	return guarded(hold, reject, uVoltageV)
}

func voltageCeiling(set *Settings, vocV, betaPerK, geHold, geReject, coldC float64) (hold, reject float64) {
	v := vocV * (1 + lenientBeta(set, betaPerK, coldC)*(coldC-stcC))
	return v * (1 + set.VoltageToleranceHold) * logLight(geHold), v * (1 + set.VoltageToleranceReject) * logLight(geReject)
}

// lenientBeta returns beta, or the one that allows the most voltage at cellC.
func lenientBeta(set *Settings, betaPerK, cellC float64) float64 {
	switch {
	case Given(betaPerK):
		return betaPerK
	case cellC < stcC:
		return set.BetaColdPerK
	}
	return set.BetaWarmPerK
}

// logLight returns the most generous Voc(G)/Voc(1000).
func logLight(ge float64) float64 {
	d := 0.07
	if ge < stcWM2 {
		d = 0.03
	}
	return 1 + d*math.Log(max(ge, 1)/stcWM2)
}

// PowerAboveRating returns the power in W above which a reading beats its rating:
//
//	Pmax (1 + max(t_hi, 0.05)) (GE/1000) (1 + gamma (T_low - 25)) + 2 u(P)
//
// gammaPerK missing: the class default of technology on its lenient side. lowC is
// the cell temperature less two standard uncertainties in C, geHold the
// irradiance bound in W/m2, uPowerW the standard uncertainty of the power.
func PowerAboveRating(set *Settings, pmaxW, toleranceHigh, gammaPerK float64, technology Technology, geHold, lowC, uPowerW float64) Bounds {
	gammaPerK = lenientGamma(set, gammaPerK, technology, lowC)
	t := max(or(toleranceHigh, 0), set.PowerTolerance)
	limit := pmaxW*(1+t)*geHold/stcWM2*(1+gammaPerK*(lowC-stcC)) + kHold*uPowerW
	return Bounds{math.NaN(), limit, math.NaN()}
}

func lenientGamma(set *Settings, gammaPerK float64, technology Technology, cellC float64) float64 {
	switch {
	case Given(gammaPerK):
		return gammaPerK
	case cellC > stcC:
		return technology.GammaPerK() + set.GammaSpread
	}
	return technology.GammaPerK() - set.GammaSpread
}

// PowerAboveDiodeBound returns the power in W that no diode with this Isc and Voc
// can deliver: the ceilings of current and voltage (without their guard bands)
// times the ideal fill factor at the voltage ceiling, with ideality 1 at hold and
// 2/3 at reject. Arguments as in CurrentAboveIsc and VoltageAboveVoc; cells in
// series may be missing: then the larger of the fixed fill factors and that of the
// fewest cells that make such a Voc.
func PowerAboveDiodeBound(set *Settings, n *NameplateInput, geHold, geReject, hotC, coldC, uPowerW float64) Bounds {
	iHold, iReject := currentCeiling(set, n.IscA, n.AlphaPerK, n.ToleranceHigh, geHold, geReject, hotC)
	vHold, vReject := voltageCeiling(set, n.VocV, n.BetaPerK, geHold, geReject, coldC)
	return diodeBound(set, n, iHold, iReject, vHold, vReject, coldC, uPowerW)
}

func diodeBound(set *Settings, n *NameplateInput, iHold, iReject, vHold, vReject, coldC, uPowerW float64) Bounds {
	fHold, _ := fillBounds(set, n.Technology, vHold, n.CellsInSeries, coldC)
	_, fReject := fillBounds(set, n.Technology, vReject, n.CellsInSeries, coldC)
	if !Given(n.CellsInSeries) { // the fewest cells that could make this Voc, so that silence never costs
		fewest := n.VocV / set.VocPerCellV
		fHold = math.Max(fHold, IdealFillFactor(vHold, fewest, coldC, 1))
		fReject = math.Max(fReject, IdealFillFactor(vReject, fewest, coldC, 2.0/3))
	}
	return guarded(iHold*vHold*fHold, iReject*vReject*fReject, uPowerW)
}

// PowerAboveSun returns the power in W that the light on the cells cannot exceed:
// eta A (1 + t_A) GE + 3 u(P), areaM2 the cell area in m2 (panel area where that
// is not known), efficiencyLimit of Technology.EfficiencyLimit, geReject the
// irradiance bound in W/m2.
func PowerAboveSun(set *Settings, areaM2, efficiencyLimit, geReject, uPowerW float64) Bounds {
	return Bounds{math.NaN(), math.NaN(), efficiencyLimit*areaM2*(1+set.AreaTolerance)*geReject + kReject*uPowerW}
}

// A Product compares a stated power with voltage times current, in W.
type Product struct {
	DifferenceW float64 // abs(P - V I)
	RoundingW   float64 // what the three displays can hide
	Bounds      Bounds  // of the difference
	Verdict     Severity
	LimitW      float64 // the bound that fired
}

// PowerNotVTimesI compares P with V I. powerW, voltageV, currentA are read at one
// side, stepW, stepV, stepA the display steps (missing: 0), uW the standard
// uncertainty of the difference. Rounding alone explains
//
//	h = r_P/2 + I r_V/2 + V r_I/2 + r_V r_I/4
//
// hold above h + 2u; reject above h + 3u when P is also off by more than 25 %.
func PowerNotVTimesI(voltageV, currentA, powerW, stepV, stepA, stepW, uW float64) Product {
	stepV, stepA, stepW = or(stepV, 0), or(stepA, 0), or(stepW, 0)
	vi := voltageV * currentA
	p := Product{DifferenceW: math.Abs(powerW - vi)}
	p.RoundingW = stepW/2 + math.Abs(currentA)*stepV/2 + math.Abs(voltageV)*stepA/2 + stepV*stepA/4
	p.Bounds = Bounds{math.NaN(), p.RoundingW + kHold*uW, p.RoundingW + kReject*uW}
	p.Verdict, p.LimitW = p.Bounds.Above(p.DifferenceW)
	if p.Verdict == Reject && !(math.Abs(powerW-vi) > 0.25*math.Abs(vi)) {
		p.Verdict, p.LimitW = Hold, p.Bounds.Hold
	}
	return p
}

// A Conflict is a disagreement in standard deviations.
type Conflict struct {
	ImpliedWM2 float64 // irradiance that the current stands for
	Z          float64
	Verdict    Severity
}

// CurrentIrradianceConflict compares the irradiance that the current implies,
//
//	G_I = 1000 I/(I_ref (1 + alpha (Tc - 25))),  z = ln(G_I/G)/sqrt(u_G^2 + u_I^2 + 0.03^2)
//
// with the measured one. Only an excess is doubted (hold above 3, note above 2):
// less current than the nameplate promises is what a field test measures. Too little
// against other testers' readings of the model is package audit's to find, which has
// them all. referenceA is Isc for a short circuit, Imp near the maximum power point;
// uRelPOA and uRelCurrent are relative.
func CurrentIrradianceConflict(set *Settings, currentA, referenceA, alphaPerK, cellC, poaWM2, uRelPOA, uRelCurrent float64) Conflict {
	alpha := or(alphaPerK, set.AlphaPerK)
	c := Conflict{ImpliedWM2: stcWM2 * currentA / (referenceA * (1 + alpha*(or(cellC, stcC)-stcC)))}
	sd := math.Sqrt(uRelPOA*uRelPOA + uRelCurrent*uRelCurrent + set.USpread*set.USpread)
	c.Z = math.Log(c.ImpliedWM2/poaWM2) / sd
	switch {
	case c.Z > 3:
		c.Verdict = Hold
	case c.Z > 2:
		c.Verdict = Note
	}
	return c
}
