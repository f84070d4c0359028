package normalise

import (
	"context"
	"math"

	"evensun/internal/budget"
	"evensun/internal/celltemp"
	"evensun/internal/fieldtest"
	"evensun/internal/seedrand"
	"evensun/internal/sky"
)

// A Chain is a session whose readings are ready to be computed again and again.
type Chain struct {
	s        setup
	readings []reading
}

// NewChain prepares a session.
func NewChain(in *Input) (*Chain, error) {
	opts := Defaults()
	c := &Chain{s: newSetup(in, &opts)}
	readings, err := c.s.readings(context.Background(), in, opts)
	c.readings = readings
	return c, err
}

// Point computes the power of every reading: sun, sky, temperature and translation.
func (c *Chain) Point() float64 {
	sum := 0.0
	for i := range c.readings {
		c.readings[i].reason = ""
		c.s.see(&c.readings[i])
		c.s.weigh(&c.readings[i])
		sum += c.readings[i].value
	}
	return sum
}

// Budget is Point with the full budget.
func (c *Chain) Budget() float64 {
	sum := c.Point()
	for i := range c.readings {
		c.s.estimateU(&c.readings[i])
		sum += c.readings[i].total.Standard
	}
	return sum
}

// Standard is the first reading's uncertainty by its budget, W.
func (c *Chain) Standard() float64 { return c.readings[0].total.Standard }

type input struct {
	member *float64
	u      float64
}

// inputs are those of the first reading's point that its budget moves, each with its
// own standard uncertainty; the sky's own inputs stand in sampleSky.
func (c *Chain) inputs() []input {
	s, r := &c.s, &c.readings[0]
	p, row, light := &r.point, &r.tempRow, &r.sensorRow
	list := []input{
		{&p.gain, r.power.Rig}, {&p.flicker, r.power.Step}, {&p.flicker, r.power.Reading}, {&p.tracker, budget.TrackerHalf / sqrt3},
		{&p.currentA, s.rig.meter.RigCurrent * p.currentA}, {&p.cableOhm, budget.CableStatedHalf * p.cableOhm / sqrt3},
		{&p.offsetK, row.RigK}, {&p.offsetK, row.SessionK}, {&p.offsetK, row.ReadingK}, {&p.offsetK, row.ModelK}, {&p.offsetK, row.CommonK},
		{&p.method, budget.MethodShare}, {&p.gammaPerK, budget.GammaNameplateHalf / sqrt3},
		{&p.efficacy, budget.LowLightShare(p.effectiveWM2(), false)},
	}
	if p.converter != 1 {
		list = append(list, input{&p.converter, budget.ConverterHalf / sqrt3}, input{&p.selfW, budget.ConverterSelfW})
	}
	if isGiven(p.fixedC) {
		list = append(list, input{&p.backStepK, r.stepU})
	} else {
		list = append(list, input{&p.airC, celltemp.AirUK}, input{&p.windMS, celltemp.WindUMS})
	}
	if r.metered() {
		return append(list, input{&p.light, light.Rig}, input{&p.light, light.Spectrum}, input{&p.light, light.Reading}, input{&p.light, s.planeShare(r)})
	}
	clear := budget.ClearSkyOf(s.condition, false)
	aoi := r.plane.IncidenceDeg(&r.sun)
	return append(list, input{&p.light, clear.Model}, input{&p.light, clear.Sky}, input{&p.light, budget.PlaneShare(r.beamShare, aoi, s.placeDeg)},
		input{&p.optics, budget.IncidenceShare(r.modifier.Beam)}, input{&p.optics, budget.SpectrumShare(r.sun.AirMass)})
}

// Sample returns the standard deviation of the first reading's power when all its
// inputs scatter together, normally, by their standard uncertainties.
func (c *Chain) Sample(draws int, seed uint64) float64 {
	r, list, chance := &c.readings[0], c.inputs(), seedrand.New(seed)
	estimate := r.point
	var mean, squares float64
	for n := range draws {
		r.point = estimate
		for _, in := range list {
			*in.member += in.u * chance.Normal()
		}
		x := c.sampleSky(r, chance)
		step := x - mean
		mean += step / float64(n+1)
		squares += step * (x - mean)
	}
	r.point = estimate
	return math.Sqrt(squares / float64(draws-1))
}

func (c *Chain) sampleSky(r *reading, chance *seedrand.Stream) float64 {
	if r.metered() {
		return r.point.stcW()
	}
	row, scene := budget.ClearSkyOf(c.s.condition, false), r.scene
	scene.LinkeTurbidity += (c.s.turbidity.High - c.s.turbidity.Low) / 2 / sqrt3 * chance.Normal()
	scene.GroundAlbedo = math.Max(0, scene.GroundAlbedo+c.s.albedoHalf/sqrt3*chance.Normal())
	scene.Plane = sky.NewPlane(scene.Plane.TiltDeg+row.TiltDeg*chance.Normal(), scene.Plane.AzimuthDeg+row.AzimuthDeg*chance.Normal(), sky.CleanGlass)
	return c.s.stcUnder(r, &scene)
}

// Part is one part of a reading's budget: its relative size, who shares it, and how sure
// it is itself. A part that is not there has size 0.
func (c *Chain) Part(reading int, name string) (share float64, scope string, dof float64) {
	r := &c.readings[reading]
	for _, p := range r.budget.Parts() {
		if p.Name == name {
			return math.Abs(p.Contribution / r.value), p.Scope.String(), p.DegreesOfFreedom
		}
	}
	return 0, "", 0
}

// HeatUK is the standard uncertainty of the first reading's cell temperature as the
// chooser of evidence reckons it and as the budget's rows add up, K.
func (c *Chain) HeatUK() (chosen, counted float64) {
	r := &c.readings[0]
	row, step := &r.tempRow, r.point.poaWM2/1000
	sum := square(row.RigK) + square(row.SessionK) + square(row.ReadingK) + square(row.ModelK) + square(row.CommonK) +
		square(r.stepU*step) +
		square(r.transientK()) + square(r.flatSpreadK)
	if !isGiven(r.point.fixedC) && isGiven(r.airC) { // without air its class holds everything
		p := r.point
		p.windMS += 0.01
		perMS := (p.rise() - r.point.rise()) / 0.01
		sum += square(celltemp.AirUK) + square(celltemp.WindU(isGiven(r.windMS))*p.poaWM2*perMS)
	}
	return r.cellU, math.Sqrt(sum)
}

// Worst returns the highest severity of an outcome, empty without doubts.
func (o *Outcome) Worst() fieldtest.Severity {
	worst := fieldtest.Severity("")
	note := func(findings []fieldtest.Finding) {
		for i := range findings {
			if heavier(findings[i].Severity, worst) {
				worst = findings[i].Severity
			}
		}
	}
	note(o.Session)
	for i := range o.Readings {
		note(o.Readings[i].Findings)
	}
	return worst
}

func heavier(a, b fieldtest.Severity) bool {
	order := map[fieldtest.Severity]int{"": 0, fieldtest.Note: 1, fieldtest.Hold: 2, fieldtest.Reject: 3}
	return order[a] > order[b]
}
