package store

import (
	"cmp"
	"encoding/json"
	"errors"
	"slices"
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
)

// The groups of rankings that go stale together.
const (
	groupTilted  = "tilted"
	groupFlat    = "flat"
	groupCovered = "covered"
	groupPrice   = "price"
)

func arrangementGroups() []string { return []string{groupTilted, groupFlat, groupCovered} }
func allGroups() []string         { return append(arrangementGroups(), groupPrice) }

// groupsOf returns the groups that the readings belong to.
func groupsOf(judged []fieldtest.JudgedReading) []string {
	var groups []string
	for _, j := range judged {
		if g := string(j.Arrangement); !slices.Contains(groups, g) {
			groups = append(groups, g)
		}
	}
	return groups
}

// slugsOf returns the panel models of the readings, each once, in order.
func slugsOf(judged []fieldtest.JudgedReading) []string {
	slugs := []string{}
	for _, j := range judged {
		if j.PanelModel != nil && !slices.Contains(slugs, *j.PanelModel) {
			slugs = append(slugs, *j.PanelModel)
		}
	}
	return slugs
}

// endOf returns the end of a session: as stated, else the last reading's time.
func endOf(s fieldtest.Session) time.Time {
	if s.EndedAt != nil {
		return *s.EndedAt
	}
	end := s.StartedAt
	for _, r := range s.Readings {
		if r.TakenAt != nil && r.TakenAt.After(end) {
			end = *r.TakenAt
		}
	}
	return end
}

// specimenColumns are the units of a session in the order in which all writers take
// their locks, so that two sessions of one tester cannot deadlock.
type specimenColumns struct {
	ids          []uuid.UUID
	slugs, names []string
}

func specimensOf(judged []fieldtest.JudgedReading) (specimenColumns, error) {
	type unit struct{ slug, name string }
	var units []unit
	for _, j := range judged {
		if j.PanelModel == nil || j.ID == nil {
			return specimenColumns{}, errors.New("a stored reading needs an id and a panel model with a slug")
		}
		if u := (unit{*j.PanelModel, j.Specimen}); !slices.Contains(units, u) {
			units = append(units, u)
		}
	}
	slices.SortFunc(units, func(a, b unit) int {
		return cmp.Or(cmp.Compare(a.slug, b.slug), cmp.Compare(a.name, b.name))
	})
	var c specimenColumns
	for _, u := range units {
		id, err := uuid.NewV7()
		if err != nil {
			return specimenColumns{}, err
		}
		c.ids, c.slugs, c.names = append(c.ids, id), append(c.slugs, u.slug), append(c.names, u.name)
	}
	return c, nil
}

// readingColumns hold one element a reading; nil is stored as NULL: not measured.
type readingColumns struct {
	ids                                         []uuid.UUID
	slugs, specimens, labels                    []string
	kinds, arrangements, states                 []string
	takenAt                                     []time.Time
	positions                                   []int // in the session; hashed, and stored by the order of the arrays
	voltageV, currentA, powerW                  []*float64
	batteryVoltageV, batteryCurrentA            []*float64
	poaWM2, rearWM2, ghiWM2                     []*float64
	backC, airC, windMS, humidityPercent        []*float64
	tiltDeg, azimuthDeg, warmUpMin, coveredPart []*float64
}

func readingColumnsOf(w SessionWrite) (readingColumns, error) {
	var c readingColumns
	for i, j := range w.Judged {
		if j.ID == nil || j.PanelModel == nil {
			return c, errors.New("a stored reading needs an id and a panel model with a slug")
		}
		c.ids, c.positions = append(c.ids, *j.ID), append(c.positions, i)
		c.slugs = append(c.slugs, *j.PanelModel)
		c.specimens = append(c.specimens, j.Specimen)
		c.labels = append(c.labels, j.Label)
		c.kinds = append(c.kinds, string(j.Kind))
		c.arrangements = append(c.arrangements, string(j.Arrangement))
		c.states = append(c.states, string(j.State))
		c.takenAt = append(c.takenAt, j.TakenAt)
		c.addMeasured(w.Session.Readings[i], w.Session)
	}
	return c, nil
}

func (c *readingColumns) addMeasured(r fieldtest.Reading, s fieldtest.Session) {
	weather, plane := s.Weather.Over(r.Weather), s.Plane.Over(r.Plane)
	c.voltageV = append(c.voltageV, r.VoltageV)
	c.currentA = append(c.currentA, r.CurrentA)
	c.powerW = append(c.powerW, r.PowerW)
	c.batteryVoltageV = append(c.batteryVoltageV, r.BatteryVoltageV)
	c.batteryCurrentA = append(c.batteryCurrentA, r.BatteryCurrentA)
	c.poaWM2 = append(c.poaWM2, r.Irradiance.POAWM2)
	c.rearWM2 = append(c.rearWM2, r.Irradiance.RearWM2)
	c.ghiWM2 = append(c.ghiWM2, r.Irradiance.GHIWM2)
	c.backC = append(c.backC, r.BackTemperatureC)
	c.airC = append(c.airC, weather.AirTemperatureC)
	c.windMS = append(c.windMS, weather.WindSpeedMS)
	c.humidityPercent = append(c.humidityPercent, weather.RelativeHumidityPercent)
	c.tiltDeg = append(c.tiltDeg, tiltOf(r, plane))
	c.azimuthDeg = append(c.azimuthDeg, plane.AzimuthDeg)
	c.warmUpMin = append(c.warmUpMin, r.WarmUpMin)
	c.coveredPart = append(c.coveredPart, coveredShare(r.Cover))
}

func tiltOf(r fieldtest.Reading, plane fieldtest.Plane) *float64 {
	if r.Arrangement == fieldtest.Flat {
		return new(float64)
	}
	return plane.TiltDeg
}

func coveredShare(c *fieldtest.Cover) *float64 {
	if c == nil || c.SectionsTotal <= 0 {
		return nil
	}
	share := float64(c.SectionsCovered) / float64(c.SectionsTotal)
	return &share
}

func (c readingColumns) args() []any {
	return []any{c.ids, c.slugs, c.specimens, c.labels, c.kinds, c.arrangements, c.states, c.takenAt,
		c.voltageV, c.currentA, c.powerW, c.batteryVoltageV, c.batteryCurrentA, c.poaWM2, c.rearWM2, c.ghiWM2,
		c.backC, c.airC, c.windMS, c.humidityPercent, c.tiltDeg, c.azimuthDeg, c.warmUpMin, c.coveredPart}
}

// resultColumns hold one element a reading; all nil where there is no result.
type resultColumns struct {
	ids                                     []uuid.UUID
	powerW, powerUW                         []*float64
	uReading, uSession, uRig, uModel        []*float64
	uCommon, uGamma, uLowLight              []*float64
	effectiveWM2, cellC, retention, retainU []*float64
	origins, classes, reasons, bodies       []*string
	rankable                                []bool
}

func resultColumnsOf(judged []fieldtest.JudgedReading) (resultColumns, error) {
	var c resultColumns
	for _, j := range judged {
		body, err := json.Marshal(j.Result)
		if err != nil {
			return c, err
		}
		c.ids = append(c.ids, *j.ID)
		c.reasons = append(c.reasons, j.ResultReason)
		c.add(j.Result, string(body))
	}
	return c, nil
}

// add appends one result; a reading without one is a row of NULLs.
func (c *resultColumns) add(r *fieldtest.Result, body string) {
	if r == nil {
		c.rankable, c.bodies, c.origins = append(c.rankable, false), append(c.bodies, nil), append(c.origins, nil)
		c.addNumbers(make([]*float64, 11)...)
		c.addRetention(nil)
		return
	}
	origin := string(r.IrradianceOrigin)
	c.rankable, c.bodies, c.origins = append(c.rankable, r.Rankable), append(c.bodies, &body), append(c.origins, optional(origin))
	c.addNumbers(&r.StcPowerW, &r.StcPowerUW, &r.Parts.Reading, &r.Parts.Session, &r.Parts.Rig, &r.Parts.Model, &r.Parts.Common,
		&r.GammaRelative, &r.LowLightRelative, &r.EffectiveWM2, &r.CellC)
	c.addRetention(r.Retention)
}

func (c *resultColumns) addNumbers(x ...*float64) {
	columns := []*[]*float64{&c.powerW, &c.powerUW, &c.uReading, &c.uSession, &c.uRig, &c.uModel, &c.uCommon,
		&c.uGamma, &c.uLowLight, &c.effectiveWM2, &c.cellC}
	for i, column := range columns {
		*column = append(*column, x[i])
	}
}

func (c *resultColumns) addRetention(r *fieldtest.Retention) {
	if r == nil {
		c.retention, c.retainU, c.classes = append(c.retention, nil), append(c.retainU, nil), append(c.classes, nil)
		return
	}
	c.retention, c.retainU = append(c.retention, &r.Value), append(c.retainU, &r.U)
	c.classes = append(c.classes, optional(r.CoverClass))
}

func (c resultColumns) args() []any {
	return []any{c.ids, c.powerW, c.powerUW, c.uReading, c.uSession, c.uRig, c.uModel, c.uCommon, c.uGamma, c.uLowLight,
		c.effectiveWM2, c.cellC, c.origins, c.retention, c.retainU, c.classes, c.rankable, c.reasons, c.bodies}
}
