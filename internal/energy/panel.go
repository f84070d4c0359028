package energy

import (
	"evensun/internal/conclusion"
	"evensun/internal/fieldtest"
)

// A PowerBasis says where the power of a panel comes from.
type PowerBasis string

// Where a power may come from.
const (
	FromReadings  PowerBasis = "readings"
	FromNameplate PowerBasis = "nameplate" // nobody has read the panel yet
)

// Of a rating that nobody has checked: panels give 90 % of their label, 8 % of it one
// standard deviation between models (common practice, no source).
const (
	uncheckedShare = 0.90
	uncheckedU     = 0.08
)

// PanelOf returns what a panel does with light, from all testers' results where there are
// some, else from its nameplate; false for a panel without a known power.
func PanelOf(m *fieldtest.PanelModel, r *fieldtest.PanelResults) (Panel, PowerBasis, bool) {
	technology := m.Construction.Technology
	heat := conclusion.HeatOf(m.Nameplate.Canonical().GammaPmaxPerK, technology, r.Coefficients)
	light := conclusion.WeakLightOf(technology, r.Coefficients)
	p := Panel{GammaPerK: Estimate{heat.TemperaturePerK, heat.TemperatureUPerK}, LowLight: Estimate{light.Slope, light.SlopeU}}
	if m.Construction.Bifaciality != nil {
		p.Bifaciality = *m.Construction.Bifaciality
	}
	if w, u, ok := readPower(r); ok {
		p.PowerW, p.PowerU = w, u/w
		return p, FromReadings, true
	}
	rated := m.Nameplate.Canonical().PmaxW
	if rated == nil || !(*rated > 0) {
		return p, FromNameplate, false
	}
	p.PowerW, p.PowerU = uncheckedShare**rated, uncheckedU/uncheckedShare
	return p, FromNameplate, true
}

// readPower is the power at standard test conditions that all readings tell, ranked or
// not, in W with its standard uncertainty.
func readPower(r *fieldtest.PanelResults) (w, u float64, ok bool) {
	for _, e := range r.Entries {
		switch {
		case e.Measure != fieldtest.StcPower:
		case e.Entry != nil:
			return e.Entry.Estimate, e.Entry.EstimateU, e.Entry.Estimate > 0
		case e.Unranked != nil && e.Unranked.Estimate != nil && e.Unranked.EstimateU != nil:
			return *e.Unranked.Estimate, *e.Unranked.EstimateU, *e.Unranked.Estimate > 0
		}
	}
	return 0, 0, false
}
