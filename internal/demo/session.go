package demo

import (
	"fmt"
	"math"
	"time"

	"evensun/internal/fieldtest"
)

// everyReading is the time from one reading to the next.
const everyReading = 4 * time.Minute

// session lets a plan happen and returns what the tester writes down.
func (s *scene) session() fieldtest.Session {
	at := s.sites[s.plan.site]
	out := fieldtest.Session{
		StartedAt: s.start(),
		Site:      fieldtest.Site{LatitudeDeg: at.latitudeDeg, LongitudeDeg: at.longitudeDeg, AltitudeM: new(at.altitude), Ground: at.ground, PlaceRoundingDeg: new(0.1)},
		Sky:       fieldtest.Sky{Condition: s.plan.sky},
		Weather:   fieldtest.Weather{AirTemperatureC: new(s.airC), WindSpeedMS: new(s.windMS)},
		Plane:     fieldtest.Plane{TiltDeg: new(s.tiltDeg), AzimuthDeg: new(s.facingDeg)},
		Note:      noted(at.name, s.plan.note),
	}
	clock := out.StartedAt.Add(5 * time.Minute)
	for i := range len(s.plan.panels) + 1 {
		which, turn := s.plan.panels[i%len(s.plan.panels)], 1+i/len(s.plan.panels)
		label := string(rune('A'+i%len(s.plan.panels))) + fmt.Sprint(turn)
		for _, r := range s.visit(which, label, turn == 1, clock) {
			out.Readings = append(out.Readings, r)
			clock = *r.TakenAt
		}
		clock = clock.Add(everyReading)
	}
	out.EndedAt = new(clock)
	return out
}

func noted(where, note string) string {
	if note == "" {
		return where
	}
	return where + ", " + note
}

// visit takes the readings of one panel, the others than tilted on the first turn only.
func (s *scene) visit(which int, label string, first bool, t time.Time) []fieldtest.Reading {
	veil := s.veil()
	if s.plan.also&sweeps != 0 {
		return []fieldtest.Reading{s.sweep(which, label, t)}
	}
	out := []fieldtest.Reading{s.powered(which, label, fieldtest.Tilted, left{1, 1}, t, veil)}
	if !first {
		return out
	}
	if s.plan.also&covered != 0 {
		out = append(out, s.coveredOne(which, label, t.Add(2*time.Minute), veil))
	}
	if s.plan.also&flat != 0 {
		out = append(out, s.powered(which, label+"-flat", fieldtest.Flat, left{1, 1}, t.Add(5*time.Minute), veil))
	}
	if s.plan.also&terminals != 0 {
		out = append(out, s.open(which, label+"-oc", t.Add(time.Minute)), s.short(which, label+"-sc", t.Add(2*time.Minute)))
	}
	return out
}

// veil is the share of a clear sky's light that comes through at this moment.
func (s *scene) veil() float64 {
	if s.plan.sky == fieldtest.ScatteredCloud {
		return 0.85 + 0.13*s.chance.Uniform()
	}
	return 1
}

// begun is what all readings have in common.
func (s *scene) begun(which int, label string, t time.Time, is state) fieldtest.Reading {
	r := fieldtest.Reading{
		Label: label, Panel: fieldtest.PanelRef{Model: s.panels[which].Slug, Specimen: "unit-1"}, TakenAt: new(t),
		Kind: fieldtest.OperatingPoint, Arrangement: fieldtest.Tilted, WarmUpMin: new(15.0),
	}
	if s.plan.back {
		r.BackTemperatureC = new(tidy(math.Round(10*(is.backC+0.5*s.chance.Normal())) / 10))
		r.BackTemperatureSensor = fieldtest.Thermocouple
	}
	if s.plan.sensor != nothing {
		seen := is.poaWM2
		if s.plan.sensor == cell {
			seen = is.effectiveWM2
		}
		r.Irradiance = fieldtest.Irradiance{POAWM2: new(math.Round(seen * (1 + s.meter))), Sensor: s.plan.sensor, Calibrated: new(true)}
	}
	return r
}

// left is what a cover leaves of power and voltage; without one that is 1 of both.
type left struct{ power, volts float64 }

// powered takes a reading under load.
func (s *scene) powered(which int, label string, how fieldtest.Arrangement, kept left, t time.Time, veil float64) fieldtest.Reading {
	lies := how
	if s.plan.mistake.how == lyingDown {
		lies = fieldtest.Flat
	}
	is := s.at(t, lies, veil)
	r := s.begun(which, label, t, is)
	r.Arrangement = how
	volts, watts := s.vmpV(which, is)*kept.volts, s.terminalW(which, is)*kept.power
	if s.rigs[s.plan.rig].Kind != fieldtest.ElectronicLoad {
		watts *= tracking
	}
	amps := watts / volts
	if s.plan.mistake.how == heldAtBattery {
		volts, amps = *s.rigs[s.plan.rig].BatteryVoltageV+0.3+amps*cableOhm(&s.rigs[s.plan.rig].Rig), amps*1.04
	}
	s.read(&r, which, volts, amps)
	return r
}

// read writes down what the rig's meter shows of a voltage and current at the panel.
func (s *scene) read(r *fieldtest.Reading, which int, volts, amps float64) {
	rig := &s.rigs[s.plan.rig]
	atMeterV := volts - amps*cableOhm(&rig.Rig)
	amps *= s.wrong(which)
	if rig.PowerReadAt == fieldtest.BatterySide {
		r.PowerW = shown((atMeterV*amps-1)**rig.ConverterEfficiency, rig.Resolution.PowerW)
		r.BatteryVoltageV = shown(*rig.BatteryVoltageV, rig.Resolution.VoltageV)
		return
	}
	r.VoltageV, r.CurrentA = shown(atMeterV, rig.Resolution.VoltageV), shown(amps, rig.Resolution.CurrentA)
	r.PowerW = shown(atMeterV*amps, rig.Resolution.PowerW)
}

// stepDownV is what a step-down controller needs at its input above its battery, V (common
// practice, no source).
const stepDownV = 1

// kept is what a cover leaves of a panel. Bypass diodes take covered sections out of the
// string, at 0.45 V of some 20 each, but not below what the rig's controller needs; the
// few percent of power that it then loses are left out. The other wirings keep their
// voltage.
func (s *scene) kept(which, covered, total int, vmpV float64) left {
	w := s.panels[which].wiring
	keeps := left{w.kept(covered, total), 1}
	if w != bypassed {
		return keeps
	}
	keeps.volts = float64(total-covered)/float64(total) - 0.45/20*float64(covered)
	if battery := s.rigs[s.plan.rig].BatteryVoltageV; battery != nil {
		keeps.volts = min(1, max(keeps.volts, (*battery+stepDownV)/vmpV))
	}
	return keeps
}

// coveredOne covers one section.
func (s *scene) coveredOne(which int, reference string, t time.Time, veil float64) fieldtest.Reading {
	total := *s.panels[which].Construction.Sections
	const hidden = 1
	kept := s.kept(which, hidden, total, s.vmpV(which, s.at(t, fieldtest.Tilted, veil)))
	r := s.powered(which, reference+"-cover", fieldtest.Covered, kept, t, veil)
	r.Cover = &fieldtest.Cover{SectionsCovered: hidden, SectionsTotal: total, Transmission: new(0.0), ReferenceLabel: reference}
	return r
}

func (s *scene) open(which int, label string, t time.Time) fieldtest.Reading {
	is := s.at(t, fieldtest.Tilted, 1)
	r := s.begun(which, label, t, is)
	r.Kind, r.VoltageV = fieldtest.OpenCircuit, shown(s.openV(which, is), s.rigs[s.plan.rig].Resolution.VoltageV)
	return r
}

func (s *scene) short(which int, label string, t time.Time) fieldtest.Reading {
	is := s.at(t, fieldtest.Tilted, 1)
	r := s.begun(which, label, t, is)
	r.Kind, r.CurrentA = fieldtest.ShortCircuit, shown(s.shortA(which, is), s.rigs[s.plan.rig].Resolution.CurrentA)
	return r
}

// sweep traces a curve from short circuit to a little beyond open circuit:
//
//	I = Isc (1 - a (exp(V/(b Voc)) - 1))
//
// with a and b such that it passes through open circuit and, nearly, the maximum; the
// currents are scaled to the true power (the explicit form is common practice).
func (s *scene) sweep(which int, label string, t time.Time) fieldtest.Reading {
	is := s.at(t, fieldtest.Tilted, 1)
	r := s.begun(which, label, t, is)
	r.Kind = fieldtest.IVSweep
	n := &s.panels[which].Nameplate
	vmp, voc, fill := s.vmpV(which, is), s.openV(which, is), *n.ImpA / *n.IscA
	b := (vmp/voc - 1) / math.Log(1-fill)
	a := (1 - fill) * math.Exp(-vmp/(b*voc))
	shape := func(v float64) float64 { return 1 - a*(math.Exp(v/(b*voc))-1) }
	best := 0.0
	for v := 0.0; v < voc; v += voc / 2000 {
		best = max(best, v*shape(v))
	}
	isc := s.terminalW(which, is) * s.wrong(which) / best
	rig := &s.rigs[s.plan.rig]
	r.Sweep = &fieldtest.Sweep{}
	for i := range 61 {
		v := *shown(voc*1.005*math.Sin(float64(i)/60*math.Pi/2), rig.Resolution.VoltageV)
		if k := len(r.Sweep.VoltageV); k > 0 && v <= r.Sweep.VoltageV[k-1] {
			continue
		}
		r.Sweep.VoltageV = append(r.Sweep.VoltageV, v)
		r.Sweep.CurrentA = append(r.Sweep.CurrentA, *shown(isc*shape(v), rig.Resolution.CurrentA))
	}
	return r
}
