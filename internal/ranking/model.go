package ranking

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
)

// model says how the ranking was estimated. A variance at its lower limit is not told: the
// readings say only that it is small.
func (f *Fitted) model() *fieldtest.RankingModel {
	sd := func(t compare.Term) *float64 {
		if f.atLimit(t) {
			return nil
		}
		return significant(math.Sqrt(f.Fit.Theta[t]))
	}
	m := &fieldtest.RankingModel{
		Estimator: "reml", Version: Version,
		TesterSD: sd(compare.Tester), SessionSD: sd(compare.Session), InteractionSD: sd(compare.TesterPanel), CellSD: sd(compare.SessionPanel), ResidualSD: sd(compare.Residual),
		SpecimenReason: "confounded_with_interaction",
		Converged:      f.Fit.Converged, Iterations: f.Fit.Iterations,
		Readings: len(f.Rows), Sessions: len(f.Sessions), Testers: len(f.Testers), Components: f.componentCount(),
	}
	if f.Table.Specimen != nil {
		m.SpecimenSD, m.SpecimenReason = sd(compare.Specimen), ""
	}
	if !math.IsNaN(f.Fit.LogLikelihood) {
		l := f.Fit.LogLikelihood
		m.LogLikelihood = &l
	}
	if f.Scatter != nil {
		q, dof := fieldtest.Significant(f.Scatter.Q), float64(f.Scatter.Dof)
		m.Q, m.QDof, m.I2 = &q, &dof, significant(f.Scatter.I2Q())
	}
	m.Notes = f.Notes()
	return m
}

// Notes tell the operator what is odd about a fit as a whole.
func (f *Fitted) Notes() []string {
	if f.Scatter == nil {
		return nil
	}
	return scatterNotes(f.Scatter)
}

// atLimit tells whether a variance is at its lower limit, or was not estimated.
func (f *Fitted) atLimit(t compare.Term) bool {
	return slices.Contains(f.Fit.AtBound, t) || f.Fit.Theta[t] == 0
}

// Conditions of a note to the operator about the budgets (common practice, no source): the
// scatter of all readings is half of what their uncertainties allow, or twice, beyond
// chance.
const (
	scatterFarOff = 2.0
	scatterChance = 1e-3
)

// scatterNotes tell the operator where the scatter of the readings is far from what their
// stated uncertainties allow.
func scatterNotes(h *compare.Heterogeneity) []string {
	ratio := math.Sqrt(h.Q / float64(h.Dof))
	chi2 := distuv.ChiSquared{K: float64(h.Dof)}
	switch {
	case ratio < 1/scatterFarOff && chi2.CDF(h.Q) < scatterChance:
		return []string{fmt.Sprintf("All readings together scatter %.2g times as much as their stated uncertainties allow: the budgets claim too much, or readings were not made independently.", ratio)}
	case ratio > scatterFarOff && h.P() < scatterChance:
		return []string{fmt.Sprintf("All readings together scatter %.2g times as much as their stated uncertainties allow: the budgets leave out something that testers, sessions or units differ by.", ratio)}
	}
	return nil
}
