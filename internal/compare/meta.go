package compare

import (
	"context"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Heterogeneity compares the scatter of a table with its known variances.
type Heterogeneity struct {
	Q   float64 // y'P0 y with the known variances alone
	Dof int     // readings less columns of X
	S2  float64 // typical known variance, Dof/tr(P0)
}

// P returns the upper tail of chi-square for Q.
func (h Heterogeneity) P() float64 { return distuv.ChiSquared{K: float64(h.Dof)}.Survival(h.Q) }

// I2 returns tau2/(tau2 + S2) for a sum of estimated variances.
//
// Source: J. Higgins, S. Thompson, Stat. Med. 21 (2002) 1539-1558.
func (h Heterogeneity) I2(tau2 float64) float64 { return tau2 / (tau2 + h.S2) }

// H2 returns (tau2 + S2)/S2.
func (h Heterogeneity) H2(tau2 float64) float64 { return (tau2 + h.S2) / h.S2 }

// I2Q returns max(0, (Q - Dof)/Q), from Q alone.
func (h Heterogeneity) I2Q() float64 { return max(0, (h.Q-float64(h.Dof))/h.Q) }

// Scatter returns Q with the sessions fixed, or random with what is known of their and
// the rigs' variances, if anything is; it needs known variances of the readings, all
// above 0.
//
// Source: W. Cochran, Biometrics 10 (1954) 101-129; with correlated readings the same
// quadratic form of the residuals, A. C. Aitken, Proc. R. Soc. Edinb. 55 (1935) 42-48
// (from memory).
func Scatter(ctx context.Context, t Table, sessionFixed bool) (Heterogeneity, error) {
	bare := Table{Value: t.Value, Variance: t.Variance, Panel: t.Panel, Session: t.Session}
	if t.SessionVariance != nil || t.RigVariance != nil {
		bare.Tester, bare.Rig, bare.SessionVariance, bare.RigVariance = t.Tester, t.Rig, t.SessionVariance, t.RigVariance
	}
	f, err := Estimate(ctx, bare, Options{SessionFixed: sessionFixed, Start: &Theta{}, Hold: true})
	if err != nil {
		return Heterogeneity{}, err
	}
	trace := 0.0
	for _, v := range f.e.ls.v[Residual] {
		trace += v
	}
	dof := f.e.d.n - f.e.rank
	return Heterogeneity{Q: f.e.rss, Dof: dof, S2: float64(dof) / trace}, nil
}

// NewUnitVariance returns what a new unit of a panel, read by a new tester in a session of
// his, varies by about the panel's level, his own bias and that of the hour apart: the
// variances of tester x panel, unit and cell. Where each tester has one unit, the first
// holds the second.
func (f *Fit) NewUnitVariance() float64 {
	return f.Theta[TesterPanel] + f.Theta[Specimen] + f.Theta[SessionPanel]
}

// Prediction returns the contrast as a new tester in a new session would see it, with a
// new unit of each panel side by side: its variance plus 2 NewUnitVariance, the bias of
// tester and hour cancelling. The degrees of freedom stay those of the contrast, as if
// the variances added were known.
//
// Source: J. Higgins, S. Thompson, D. Spiegelhalter, J. R. Stat. Soc. A 172 (2009)
// 137-159, who take k - 2 degrees of freedom for k studies.
func (f *Fit) Prediction(c Contrast) Contrast {
	c.SE = math.Sqrt(c.SE*c.SE + 2*f.NewUnitVariance())
	return c
}
