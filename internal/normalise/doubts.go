package normalise

import (
	"math"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/limits"
	"evensun/internal/sky"
)

func minutes(x float64) time.Duration { return time.Duration(x * float64(time.Minute)) }

// judge lets the rules look at one reading. in is reused from reading to reading.
func (s *setup) judge(r *reading, in *limits.ReadingInput) {
	*in = blankReading
	s.whatWasRead(r, in)
	s.whatTheSkyAllows(r, in)
	s.howHot(r, in)
	r.report.Reset()
	limits.Reading(&s.limits, in, &r.report)
}

// blankReading is copied into every input, so that nothing of the last reading stays.
var blankReading = limits.NewReading()

// nameplateInput hands a nameplate to the rules as it was stated.
func nameplateInput(n *rated) limits.NameplateInput {
	in := limits.NewNameplate()
	in.PmaxW, in.VocV, in.IscA, in.VmpV, in.ImpA = n.pmaxW, n.vocV, n.iscA, n.vmpV, n.impA
	in.ToleranceHigh = n.toleranceHi
	in.GammaPerK, in.BetaPerK, in.AlphaPerK = n.gammaPerK, n.betaPerK, n.alphaPerK
	in.CellsInSeries, in.Technology, in.Bifaciality = n.cells, limits.Technology(n.technology), n.bifaciality
	in.CellAreaM2, in.PanelAreaM2, in.MassKg = n.cellAreaM2, n.panelAreaM2, n.massKg
	return in
}

func (s *setup) whatWasRead(r *reading, in *limits.ReadingInput) {
	m := &s.rig.meter
	in.Kind, in.Arrangement = limits.Kind(r.kind), limits.Arrangement(r.arrangement)
	in.Panel = r.rated.plate
	in.Rig, in.PowerReadAt = limits.RigKind(s.rig.kind), limits.Side(r.side)
	in.VoltageV, in.CurrentA, in.PowerW = r.voltageV, r.currentA, r.powerW
	in.StepV, in.StepA, in.StepW = m.StepV, m.StepA, m.StepW
	in.UVoltageV = meterU(r.voltageV, m.RigVoltage, m.ReadingVoltage, m.StepV)
	in.UCurrentA = math.Hypot(meterU(r.currentA, m.RigCurrent, m.ReadingCurrent, m.StepA), m.ReadingCurrentA)
	in.UPowerW = meterU(r.powerW, m.RigPower, m.ReadingPower, m.StepW)
	in.OneDisplay = s.rig.oneDisplay
	if r.kind == fieldtest.IVSweep {
		s.whatTheSweepSays(r, in)
	}
	in.BatteryVoltageV = r.batteryV
	if !isGiven(in.BatteryVoltageV) {
		in.BatteryVoltageV = s.rig.batteryV
	}
	if s.rig.stated {
		in.ConverterEfficiency = s.rig.converter
	}
	in.MaxPowerW, in.MaxCurrentA = s.rig.maxPowerW, s.rig.maxCurrentA
	if s.rig.cableKnown {
		in.CableOhm = s.rig.cableOhm
	}
}

// meterU is the standard uncertainty of a shown value: calibration, scatter and the
// last displayed step.
func meterU(value, rig, readingShare, step float64) float64 {
	return math.Sqrt(square(value*rig) + square(value*readingShare) + square(step/(2*sqrt3)))
}

func (s *setup) whatTheSkyAllows(r *reading, in *limits.ReadingInput) {
	in.Sky = limits.Sky(s.condition)
	in.ApparentZenithDeg, in.ExtraterrestrialWM2 = r.angles.ApparentZenithDeg, r.sun.ExtraterrestrialWM2
	in.GroundAlbedo = s.albedo
	switch r.origin {
	case fieldtest.OriginMeasured:
		in.POAWM2, in.UPOAWM2 = r.poaWM2, r.poaWM2*meteredShare(r)
	case fieldtest.OriginFromGHI:
		in.POAWM2, in.UPOAWM2, in.POAFromGHI = r.point.poaWM2, r.point.poaWM2*math.Hypot(meteredShare(r), 0.06), true
	}
	in.GHIWM2 = r.ghiWM2
	if r.rearWM2 > 0 {
		in.RearWM2, in.RearMeasured = r.rearWM2, r.rearKnown
	}
	if r.planeKnown() {
		in.TiltDeg, in.IncidenceDeg = r.tiltDeg, r.plane.IncidenceDeg(&r.sun)
		if r.magnetic {
			in.UPlaneDeg = 10
		}
		if r.clear.CosIncidence < 0 { // the only case in which a cure is worded
			turned := sky.NewPlane(r.tiltDeg, r.azimuthDeg+180, sky.CleanGlass)
			in.IncidenceTurnedDeg = turned.IncidenceDeg(&r.sun)
		}
	}
	in.ClearGHIWM2, in.ClearPOAWM2 = r.clear.GHIWM2, r.clear.POAWM2()
	s.clearBounds(r, in)
}

// clearBounds are clear skies at the edges of what the air can be. Where the altitude
// is not known the rules get the thinner air of a high site.
func (s *setup) clearBounds(r *reading, in *limits.ReadingInput) {
	scene := r.scene
	if s.altitudeU != 0 {
		scene.Site = s.lenientPlace
		scene.Sun = sky.NewSun(r.angles, r.sun.ExtraterrestrialWM2, &scene.Site)
	}
	scene.LinkeTurbidity = cleanTurbidity
	clean := sky.ClearSkyPlane(&scene)
	in.ClearPOATL2WM2 = clean.POAWM2()
	if s.condition == fieldtest.Clear {
		in.ClearPOAHighTLWM2 = s.leastClearWM2(scene, r)
	}
	if r.origin == fieldtest.OriginClearSky {
		in.ClearPOALimitWM2 = sky.MostLenientWM2(&scene, s.limits.UPlaneDeg)
	}
}

// leastClearWM2 is the least that a clear sky sends to a plane. Above highSiteM all that
// the model may be too high is taken off.
func (s *setup) leastClearWM2(scene sky.Scene, r *reading) float64 {
	scene.Site, scene.Sun = s.place, r.sun
	scene.LinkeTurbidity = sky.TurbidityOf(fieldtest.Clear, &s.place).High
	hazy := sky.ClearSkyPlane(&scene)
	return hazy.POAWM2() * (1 - 2*highSiteHalf(s.place.AltitudeM))
}

const cleanTurbidity = 2 // very clear air, the brightest sky the rules reckon with

// meteredShare is the relative standard uncertainty of a light meter's reading.
func meteredShare(r *reading) float64 {
	row := &r.sensorRow
	return math.Sqrt(square(row.Rig) + square(row.Spectrum) + square(row.Reading))
}

func (s *setup) howHot(r *reading, in *limits.ReadingInput) {
	in.CellC, in.UCellK = r.point.cellC(), r.cellU
	in.CellMeasured = isGiven(r.point.fixedC)
	in.BackC, in.AirC, in.WindMS, in.WarmUpMin = r.backC, r.airC, r.windMS, r.warmUpMin
	in.RateKPerMin = r.backRate
}

// findingOf puts a doubt into the words of the answer, its numbers rounded.
func findingOf(d *limits.Doubt, prefix string) fieldtest.Finding {
	value, limit := fieldtest.Significant(d.Value), fieldtest.Significant(d.Limit)
	basis := map[string]any{"method": MethodVersion, "source": d.Source}
	for _, in := range d.Basis {
		if in.Text != "" {
			basis[in.Name] = in.Text
		} else {
			basis[in.Name] = fieldtest.Significant(in.Value)
		}
		if in.Origin != limits.FromTester {
			basis[in.Name+"_origin"] = string(in.Origin)
		}
	}
	return fieldtest.Finding{
		Rule: d.Rule, Severity: fieldtest.Severity(d.Severity.String()), Pointer: prefix + d.Field,
		Value: &value, Limit: &limit, Relation: d.Relation, Unit: d.Unit, Reason: d.Reason,
		Basis: basis, State: fieldtest.FindingOpen,
	}
}
