package demo

import (
	"fmt"
	"math"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
	"evensun/internal/seedrand"
	"evensun/internal/sun"
)

// An event is one session that a tester reports, with the scene behind it.
type event struct {
	*scene
	rig      fieldtest.Rig
	reported fieldtest.Session
	models   map[string]*fieldtest.PanelModel
}

// load is a rig of the wide world with the standard deviation of its gain.
type load struct {
	fieldtest.Rig
	gainSD float64
	sweeps bool
}

// loads are rigs as testers have them, all of them looking for the maximum: a rig that
// does not is a fault here.
func loads() []load {
	all := rigs()
	hobby := fieldtest.Resolution{VoltageV: new(0.1), CurrentA: new(0.1), PowerW: new(1.0)}
	station := all[tobinStation].Rig
	station.Resolution = hobby
	coarse := fieldtest.Rig{Kind: fieldtest.MPPTController, PowerReadAt: fieldtest.PanelSide, Instrument: fieldtest.ControllerDisplay, Resolution: hobby, BatteryVoltageV: new(13.3)}
	other := fieldtest.Rig{Kind: fieldtest.OtherRig, PowerReadAt: fieldtest.PanelSide, Instrument: fieldtest.InlineMeter, Resolution: all[clubBench].Resolution}
	return []load{
		{all[clubBench].Rig, 0.006, false}, {coarse, 0.012, false}, {all[tobinStation].Rig, 0.01, false}, {station, 0.012, false},
		{all[sefaBattery].Rig, 0.008, false}, {all[raviInverter].Rig, 0.006, false}, {all[clubLoad].Rig, 0.002, true},
		{all[junoClamp].Rig, 0.01, false}, {all[anselmDisplay].Rig, 0.01, false}, {other, 0.008, false},
	}
}

// wide draws what the demo's weekend leaves out: cold, heat, altitude, thin light.
type wide struct{ *seedrand.Stream }

func (w wide) between(low, high float64) float64 { return low + (high-low)*w.Uniform() }

func (w wide) often(share float64) bool { return w.Uniform() < share }

// place draws a site; the air follows from latitude, altitude and chance.
func (w wide) place() place {
	at := place{name: "somewhere", latitudeDeg: w.between(2, 58), longitudeDeg: math.Round(w.between(-175, 175)), altitude: math.Round(w.between(0, 800)), ground: fieldtest.Grass}
	if w.often(0.2) {
		at.altitude = math.Round(w.between(800, 3800))
	}
	at.airC = min(42, max(-18, 33-0.4*at.latitudeDeg-0.0055*at.altitude+7*w.Normal()))
	if at.airC < -3 {
		at.ground = fieldtest.Snow
	}
	if w.often(0.5) {
		at.latitudeDeg = -at.latitudeDeg
	}
	return at
}

// plan draws what the tester sets out to do.
func (w wide) plan(of *load) *plan {
	skies := []fieldtest.SkyCondition{clear, clear, clear, haze, fieldtest.Haze, fieldtest.ScatteredCloud, fieldtest.BrokenCloud, fieldtest.Overcast, unknown}
	meters := []fieldtest.Sensor{nothing, nothing, nothing, nothing, silicon, silicon, cell, thermo, fieldtest.Phone}
	p := &plan{daysBefore: w.IntN(365), fromNoonMin: -240 + w.IntN(420), sky: skies[w.IntN(len(skies))], sensor: meters[w.IntN(len(meters))], back: w.often(0.4)}
	for range 2 + w.IntN(2) {
		which := len(p.panels)*4 + w.IntN(4)
		if of.MaxCurrentA != nil && which == orrin400 { // would be clipped
			which = orrin220
		}
		p.panels = append(p.panels, which)
	}
	if w.often(0.5) {
		p.also |= covered
	}
	if w.often(0.3) {
		p.also |= flat
	}
	if cloudless := p.sky == clear || p.sky == haze; cloudless && of.sweeps {
		p.also = sweeps
	} else if cloudless && of.Resolution.VoltageV != nil && of.Resolution.CurrentA != nil && of.PowerReadAt == fieldtest.PanelSide && w.often(0.3) {
		p.also |= terminals
	}
	return p
}

// newEvent lets the honest session of an index happen.
func newEvent(seed uint64, index int) *event {
	w := wide{seedrand.New(seed ^ uint64(index)*0x9e3779b97f4a7c15)}
	kinds := loads()
	kind := &kinds[index%len(kinds)]
	s := w.scene(seed, index, kind)
	switch s.plan.sensor {
	case fieldtest.Phone:
		s.meter = 0.06 * w.Normal()
	case silicon:
		s.meter = 0.02 * w.Normal()
	}
	s.facingDeg = math.Mod(s.facingDeg+8*w.Normal()+360, 360)
	e := &event{scene: s, rig: kind.Rig, models: map[string]*fieldtest.PanelModel{}}
	for i := range s.panels {
		e.models[s.panels[i].Slug] = &s.panels[i].PanelModel
	}
	e.report(w)
	return e
}

// scene draws scenes until the sun stands at least 8 degrees high throughout.
func (w wide) scene(seed uint64, index int, of *load) *scene {
	for again := 0; ; again++ {
		at := w.place()
		world := &world{seed: seed + uint64(again)<<48, last: time.Date(2026, 11, 20, 0, 0, 0, 0, time.UTC), panels: panels(), sites: []place{at}, rigs: []Rig{{0, of.Rig}}}
		world.tester, world.gain = normals(w.Stream, 1, testerSD), normals(w.Stream, 1, of.gainSD)
		world.unit = [][]float64{normals(w.Stream, len(world.panels), opinionSD)}
		s := newScene(world, index, w.plan(of))
		if s.sunDeg(0) > 8 && s.sunDeg(time.Hour) > 8 {
			return s
		}
	}
}

func (s *scene) sunDeg(after time.Duration) float64 {
	return 90 - sun.Position(s.start().Add(after), s.where).ApparentZenithDeg
}

// report writes the session down as its tester saw it.
func (e *event) report(w wide) {
	at := e.sites[0]
	e.reported = fieldtest.Session{
		StartedAt: e.start(), Sky: fieldtest.Sky{Condition: e.plan.sky},
		Site:    fieldtest.Site{LatitudeDeg: at.latitudeDeg, LongitudeDeg: at.longitudeDeg, AltitudeM: new(at.altitude), Ground: at.ground, PlaceRoundingDeg: new(0.1)},
		Weather: fieldtest.Weather{AirTemperatureC: new(math.Round(e.airC + w.Normal())), WindSpeedMS: new(e.windMS)},
		Plane:   fieldtest.Plane{TiltDeg: new(math.Round(min(89, max(1, e.tiltDeg+2*w.Normal())))), AzimuthDeg: new(math.Mod(5*math.Round(e.facingDeg/5+w.Normal())+360, 360))},
	}
	if w.often(0.25) {
		e.reported.Weather.WindSpeedMS = nil
	}
	clock := e.start().Add(5 * time.Minute)
	for i, which := range append(e.plan.panels, e.plan.panels[0]) {
		e.visits(w, which, fmt.Sprintf("r%d", i), i < len(e.plan.panels), clock)
		clock = clock.Add(10 * time.Minute)
	}
	e.reported.EndedAt = new(clock)
	late, unstated, inline := time.Duration(60*w.Normal())*time.Second, w.often(0.3), w.often(0.4)
	for i := range e.reported.Readings {
		r := &e.reported.Readings[i]
		r.TakenAt = new(r.TakenAt.Add(late))
		if unstated {
			r.WarmUpMin = nil
		}
		if inline {
			r.Panel.Nameplate = &e.models[r.Panel.Model].Nameplate
		}
		if r.PowerW != nil {
			r.PowerW = new(max(0, *r.PowerW))
		}
	}
}

// visits reports all readings of one panel.
func (e *event) visits(w wide, which int, label string, first bool, t time.Time) {
	veil := e.cloud(w)
	out := &e.reported.Readings
	if e.plan.also&sweeps != 0 {
		*out = append(*out, e.sweep(which, label, t))
		return
	}
	*out = append(*out, e.held(which, label, fieldtest.Tilted, left{1, 1}, t, veil))
	if first && e.plan.also&covered != 0 {
		*out = append(*out, e.shaded(w, which, label, t.Add(2*time.Minute), veil))
	}
	if first && e.plan.also&flat != 0 {
		*out = append(*out, e.held(which, label+"-flat", fieldtest.Flat, left{1, 1}, t.Add(5*time.Minute), veil))
	}
	if first && e.plan.also&terminals != 0 {
		*out = append(*out, e.open(which, label+"-oc", t.Add(time.Minute)), e.short(which, label+"-sc", t.Add(2*time.Minute)))
	}
}

// cloud is the share of a clear sky's light that comes through.
func (e *event) cloud(w wide) float64 {
	switch e.plan.sky {
	case fieldtest.ScatteredCloud:
		return w.between(0.8, 1)
	case fieldtest.BrokenCloud:
		return w.between(0.35, 1.05)
	case fieldtest.Overcast:
		return w.between(0.1, 0.35)
	}
	return 1
}

// held takes a reading at the maximum, whose voltage falls with thin light: as open
// circuit does, less the drop of 3 % over the series resistance in full sun (diode
// equation; the 3 % are common practice).
func (e *event) held(which int, label string, how fieldtest.Arrangement, kept left, t time.Time, veil float64) fieldtest.Reading {
	sun := e.at(t, how, veil).effectiveWM2 / 1000
	kept.volts *= 1 + 0.045*math.Log(sun) + 0.03*(1-sun)
	if battery := e.rig.BatteryVoltageV; battery != nil {
		kept.volts = max(kept.volts, (*battery+0.3)/e.vmpV(which, e.at(t, how, veil)))
	}
	return e.powered(which, label, how, kept, t, veil)
}

// shaded covers one section. A panel in series without bypass diodes is then pulled down
// to what the controller needs above its battery.
func (e *event) shaded(w wide, which int, reference string, t time.Time, veil float64) fieldtest.Reading {
	vmp, total := e.vmpV(which, e.at(t, fieldtest.Tilted, veil)), *e.panels[which].Construction.Sections
	kept := e.kept(which, 1, total, vmp)
	if battery := e.rig.BatteryVoltageV; battery != nil && e.panels[which].wiring == inSeries {
		kept.volts = min(1, (*battery+w.between(0.3, 2))/vmp)
	}
	r := e.held(which, reference+"-cover", fieldtest.Covered, kept, t, veil)
	r.Cover = &fieldtest.Cover{SectionsCovered: 1, SectionsTotal: total, Transmission: new(0.0), ReferenceLabel: reference}
	return r
}

// input is what the chain is asked to judge.
func (e *event) input() *normalise.Input {
	in := &normalise.Input{Session: e.reported, Rig: e.rig}
	for i := range e.reported.Readings {
		in.Panels = append(in.Panels, e.models[e.reported.Readings[i].Panel.Model])
	}
	return in
}

// copied returns the event with readings and models that can be spoiled.
func (e *event) copied() *event {
	out := *e
	out.reported.Readings = append([]fieldtest.Reading(nil), e.reported.Readings...)
	return &out
}
