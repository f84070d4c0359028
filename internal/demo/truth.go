package demo

import (
	"math"
	"time"

	"evensun/internal/celltemp"
	"evensun/internal/fieldtest"
	"evensun/internal/seedrand"
	"evensun/internal/sky"
	"evensun/internal/stc"
	"evensun/internal/sun"
)

// Relative standard deviations of what falsifies a reading (common practice, no source).
const (
	testerSD  = 0.008 // a tester's habits
	opinionSD = 0.004 // a tester's own unit of a model
	rigSD     = 0.005 // the rig's gain
	cellSD    = 0.004 // a panel in one session
	readingSD = 0.003
	cellK     = 1.5 // cells beside the model, K, in one session
	lightSD   = 0.007
)

// Seeds of the separate streams, so that one more session leaves the rest as it is.
const (
	seedTesters  = 0x7465737465720001
	seedRigs     = 0x7269670000000002
	seedUnits    = 0x756e697400000003
	seedSessions = 0x73657373696f6e04
)

// tracking is the share of the maximum that a tracker finds (as package normalise).
const tracking = 0.995

// world is everything that is true behind the sessions.
type world struct {
	seed   uint64
	last   time.Time
	panels []panel
	rigs   []Rig
	sites  []place
	tester []float64   // relative errors by tester
	gain   []float64   // by rig
	unit   [][]float64 // by tester and panel
}

func newWorld(seed uint64, last time.Time) *world {
	w := &world{seed: seed, last: last, panels: panels(), rigs: rigs(), sites: places()}
	names := testers()
	w.tester = normals(seedrand.New(seed^seedTesters), len(names), testerSD)
	w.gain = normals(seedrand.New(seed^seedRigs), len(w.rigs), rigSD)
	units := seedrand.New(seed ^ seedUnits)
	for range names {
		w.unit = append(w.unit, normals(units, len(w.panels), opinionSD))
	}
	return w
}

func normals(r *seedrand.Stream, n int, sd float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = sd * r.Normal()
	}
	return out
}

// scene is the true state of one session.
type scene struct {
	*world
	plan      *plan
	chance    *seedrand.Stream
	site      sky.Site
	where     sun.Site
	zone      *time.Location
	linke     float64
	airC      float64
	windMS    float64
	cellOffK  float64
	meter     float64   // relative error of the light meter
	cell      []float64 // by panel
	tiltDeg   float64
	facingDeg float64
	albedo    float64
}

// newScene draws a session's weather and aims the panel at the sun of its middle.
func newScene(w *world, index int, p *plan) *scene {
	at := w.sites[p.site]
	s := &scene{world: w, plan: p, chance: seedrand.New(w.seed ^ seedSessions ^ uint64(index)<<32)}
	s.site, s.where = sky.NewSite(at.latitudeDeg, at.altitude), sun.At(at.latitudeDeg, at.longitudeDeg, at.altitude)
	s.zone = time.FixedZone("", int(math.Round(at.longitudeDeg/15))*3600)
	range_ := sky.TurbidityOf(p.sky, &s.site)
	s.linke = range_.Low + (range_.High-range_.Low)*(0.4+0.2*s.chance.Uniform())
	s.airC = math.Round(2*(at.airC+2*s.chance.Normal())) / 2
	s.windMS = math.Round(2*(1+2*s.chance.Uniform())) / 2
	s.cellOffK, s.meter = cellK*s.chance.Normal(), lightSD*s.chance.Normal()
	s.cell = normals(s.chance, len(w.panels), cellSD)
	s.albedo = sky.AlbedoOf(at.ground)
	middle := sun.Position(s.start().Add(30*time.Minute), s.where)
	s.tiltDeg = min(60, max(10, 5*math.Round(middle.ApparentZenithDeg/5)))
	s.facingDeg = math.Mod(5*math.Round(middle.AzimuthDeg/5), 360)
	return s
}

// start is the beginning of a session: so many minutes from mean solar noon, on a day
// before the last.
func (s *scene) start() time.Time {
	noon := s.last.UTC().AddDate(0, 0, -1-s.plan.daysBefore).Truncate(24 * time.Hour).Add(12 * time.Hour)
	shift := time.Duration(-s.sites[s.plan.site].longitudeDeg*4+float64(s.plan.fromNoonMin)) * time.Minute
	return noon.Add(shift).In(s.zone)
}

// state is what light and heat are at a panel.
type state struct {
	poaWM2, effectiveWM2, cellC, backC float64
}

// over is the clear sky over a panel at an instant.
func (s *scene) over(t time.Time, arrangement fieldtest.Arrangement) sky.Scene {
	tilt := s.tiltDeg
	if arrangement == fieldtest.Flat {
		tilt = 0
	}
	stands := sky.NewSun(sun.Position(t, s.where), sun.Extraterrestrial(sun.DayOfYear(t)), &s.site)
	return sky.Scene{
		Site: s.site, Sun: stands, Plane: sky.NewPlane(tilt, s.facingDeg, sky.CleanGlass), LinkeTurbidity: s.linke, GroundAlbedo: s.albedo,
	}
}

// at returns the truth at an instant, of whose clear sky's light a share comes through.
func (s *scene) at(t time.Time, arrangement fieldtest.Arrangement, veil float64) state {
	overhead := s.over(t, arrangement)
	light := sky.ClearSkyPlane(&overhead)
	is := state{poaWM2: light.POAWM2() * veil, effectiveWM2: light.EffectiveWM2 * veil}
	if arrangement == fieldtest.Flat {
		bounds := celltemp.FlatBounds(is.poaWM2, s.airC, s.windMS)
		is.cellC = bounds.MiddleC() + s.cellOffK
		is.backC = is.cellC
		return is
	}
	is.cellC = celltemp.King(is.poaWM2, s.airC, s.windMS, celltemp.OpenRackPolymer()).CellC + s.cellOffK
	is.backC = is.cellC - 3*is.poaWM2/1000
	return is
}

// terminalW is the true power of a panel that is held at its maximum.
func (s *scene) terminalW(which int, is state) float64 {
	n := &s.panels[which].Nameplate
	l := math.Log(is.effectiveWM2 / 1000)
	weak := 1 - (0.006756+0.016444*l)*l
	owner := s.rigs[s.plan.rig].Tester
	return s.panels[which].share * *n.PmaxW * is.effectiveWM2 / 1000 * (1 + *n.GammaPmaxPerK*(is.cellC-25)) * weak * math.Exp(s.unit[owner][which])
}

// vmpV is the voltage of a panel's maximum.
func (s *scene) vmpV(which int, is state) float64 {
	n := &s.panels[which].Nameplate
	return *n.VmpV * (1 + stc.VmpSlope(*n.BetaVocPerK)*(is.cellC-25))
}

func (s *scene) openV(which int, is state) float64 {
	n := &s.panels[which].Nameplate
	return 0.99 * *n.VocV * (1 + *n.BetaVocPerK*(is.cellC-25)) * (1 + 0.045*math.Log(is.effectiveWM2/1000))
}

func (s *scene) shortA(which int, is state) float64 {
	p := &s.panels[which]
	return min(1, p.share+0.03) * *p.Nameplate.IscA * is.effectiveWM2 / 1000 * (1 + *p.Nameplate.AlphaIscPerK*(is.cellC-25))
}

// wrong is the factor by which a power is misread.
func (s *scene) wrong(which int) float64 {
	owner := s.rigs[s.plan.rig].Tester
	return math.Exp(s.tester[owner] + s.gain[s.plan.rig] + s.cell[which] + readingSD*s.chance.Normal())
}
