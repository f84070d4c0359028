package normalise

import (
	"math"
	"slices"
	"strings"

	"evensun/internal/caution"
	"evensun/internal/fieldtest"
	"evensun/internal/limits"
)

// cautions gathers what could hurt someone: each panel model of a session with the
// largest of what its readings met.
func (s *setup) cautions(in *Input, readings []reading) []fieldtest.Caution {
	var all []caution.Caution
	rig := rigDanger(&in.Rig)
	seen := make([]*rated, 0, 4)
	for i := range readings {
		if slices.Contains(seen, readings[i].rated) {
			continue
		}
		seen = append(seen, readings[i].rated)
		met, panel := s.danger(readings, readings[i].rated), panelDanger(readings[i].rated)
		all = append(all, caution.Of(&met, &panel, &rig)...)
	}
	list := worded(all)
	if orderUnknown(readings) {
		last := len(list) - 1
		list = append(list[:last:last], fieldtest.Caution{ID: "order_unknown", Level: "inform",
			Text: "Some readings have no time of their own. They count as of the middle of the session, and what changed between them cannot be told apart from the panels: note the time of each (taken_at)."}, list[last])
	}
	return list
}

// orderUnknown tells whether two readings or more have no instant of their own.
func orderUnknown(readings []reading) bool {
	n := 0
	for i := range readings {
		if readings[i].timeHalfMin > 0 {
			n++
		}
	}
	return n > 1
}

// PanelModelCautions returns what anyone who handles a panel model should know, the
// closing text last.
func PanelModelCautions(m *fieldtest.PanelModel) []fieldtest.Caution {
	r := panelRated(m)
	panel := panelDanger(&r)
	return worded(caution.OfPanel(&panel))
}

// RigCautions returns what anyone who works with a rig should know whatever panel is
// on it, the closing text last.
func RigCautions(r *fieldtest.Rig) []fieldtest.Caution {
	panel, rig := caution.NewPanel(), rigDanger(r)
	return worded(caution.OfRig(&panel, &rig))
}

func panelDanger(r *rated) caution.Panel {
	return caution.Panel{VocV: r.vocV, IscA: r.iscA, BetaPerK: r.betaPerK, MassKg: r.massKg, PanelAreaM2: r.panelAreaM2}
}

func rigDanger(r *fieldtest.Rig) caution.Rig {
	return caution.Rig{
		Kind: string(r.Kind), PanelsInSeries: whole(r.PanelsInSeries), PanelsInParallel: whole(r.PanelsInParallel),
		LowestAirC: number(r.LowestAirC), MaxVoltageV: number(r.MaxVoltageV),
		CableMM2: number(r.Cable.CrossSectionMM2), BatteryVoltageV: number(r.BatteryVoltageV),
	}
}

// danger is the largest of what the readings of one panel model met.
func (s *setup) danger(readings []reading, panel *rated) caution.Session {
	met := caution.NewSession()
	met.Ground, met.Sky = string(s.session.Site.Ground), string(s.condition)
	met.Rain = speaksOfRain(s.session.Note)
	for i := range readings {
		if r := &readings[i]; r.rated == panel {
			s.widen(&met, r)
		}
	}
	return met
}

func (s *setup) widen(met *caution.Session, r *reading) {
	raw := &s.session.Readings[r.index]
	electrical := !slippedIn(&r.report, "current_a", "voltage_v", "power_w")
	met.ShortCircuit = met.ShortCircuit || r.kind == fieldtest.ShortCircuit
	met.Rain = met.Rain || speaksOfRain(raw.Note)
	if electrical && isGiven(r.currentA) && !(r.currentA <= met.CurrentA) {
		met.CurrentA, met.VoltageV = r.currentA, r.voltageV
	}
	if !slippedIn(&r.report, "back_temperature_c") {
		largest(&met.HottestC, math.Max(zeroIfMissing(r.point.cellC()), zeroIfMissing(r.backC)))
	}
	largest(&met.AirC, r.airC)
	largest(&met.WindMS, r.windMS)
	weather := s.session.Weather.Over(raw.Weather)
	largest(&met.HumidityPercent, number(weather.RelativeHumidityPercent))
	largest(&met.ElevationDeg, r.angles.ElevationDeg())
	largest(&met.POAWM2, r.point.poaWM2)
	if electrical && hasPower(r) && r.point.cableOhm > 0 {
		largest(&met.CableLossShare, square(r.point.currentA)*r.point.cableOhm/r.point.terminalW())
	}
}

// slippedIn tells whether one of some members stands in another unit than it claims.
func slippedIn(report *limits.Report, members ...string) bool {
	return slices.ContainsFunc(report.Doubts, func(d limits.Doubt) bool { return d.Rule == unitSlip && slices.Contains(members, d.Field) })
}

// largest keeps the larger of two, whichever of them is known.
func largest(kept *float64, x float64) {
	if isGiven(x) && !(x <= *kept) {
		*kept = x
	}
}

func speaksOfRain(note string) bool {
	for _, word := range strings.FieldsFunc(strings.ToLower(note), func(c rune) bool { return c < 'a' || c > 'z' }) {
		switch word {
		case "rain", "rainy", "raining", "drizzle", "shower", "showers", "thunder", "thunderstorm":
			return true
		}
	}
	return false
}

// worded puts cautions into the words of the answer: each id once, with its loudest
// text, the closing text last.
func worded(all []caution.Caution) []fieldtest.Caution {
	closing := caution.Closing()
	list := []fieldtest.Caution{}
	for _, c := range all {
		if c.ID == closing.ID {
			continue
		}
		if at := indexOf(list, c.ID); at < 0 {
			list = append(list, fieldtest.Caution{ID: c.ID, Level: string(c.Level), Text: c.Text})
		} else if c.Level == caution.Warn && list[at].Level != string(caution.Warn) {
			list[at].Level, list[at].Text = string(c.Level), c.Text
		}
	}
	return append(list, fieldtest.Caution{ID: closing.ID, Level: string(closing.Level), Text: closing.Text})
}

func indexOf(list []fieldtest.Caution, id string) int {
	for i := range list {
		if list[i].ID == id {
			return i
		}
	}
	return -1
}
