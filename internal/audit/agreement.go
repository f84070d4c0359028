package audit

import (
	"context"
	"math"
	"sort"

	"github.com/google/uuid"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

// An Agreement says how a tester's readings agree with those of all others. Numbers that
// the data do not give are nil.
type Agreement struct {
	TesterID uuid.UUID        `json:"tester_id"`
	Testers  int              `json:"testers"`         // in the comparison
	Offset   *float64         `json:"offset_relative"` // share by which the tester reads higher over all panels
	OffsetU  *float64         `json:"offset_u_relative"`
	ZPrime   *float64         `json:"z_prime"`            // offset against what testers usually differ: 2 warns, 3 asks for action
	Zeta     *float64         `json:"zeta"`               // offset against its own uncertainty
	En       *float64         `json:"en"`                 // the same with twice the uncertainty: above 1 the claim does not hold
	H        *float64         `json:"h"`                  // Mandel's, of the mean
	HLimit   *float64         `json:"h_limit"`            // at 1 %
	K        *float64         `json:"k"`                  // Mandel's, of the scatter
	Scatter  *float64         `json:"scatter_relative"`   // standard deviation of repeats, share
	Claimed  *float64         `json:"claimed_u_relative"` // mean claimed uncertainty of a reading, share
	Panels   []PanelAgreement `json:"panels"`             // those furthest from the others first
}

// A PanelAgreement is a tester's opinion of one panel model beside that of all testers.
type PanelAgreement struct {
	PanelModel string   `json:"panel_model"`
	Ratio      *float64 `json:"ratio"` // of the tester's figure to what all others say
	RatioLo    *float64 `json:"ratio_lo"`
	RatioHi    *float64 `json:"ratio_hi"` // 95 %
	T          *float64 `json:"t"`
	Weight     float64  `json:"weight"` // robust weight of the opinion
	Share      float64  `json:"share"`  // of all information on the panel
	Sessions   int      `json:"sessions"`
	Readings   int      `json:"readings"`
}

// AgreementOf returns a tester's agreement over the readings of tilted panels; false if
// the tester has none that count.
//
// Source: ISO 13528:2015, clause 9, and ISO 5725-2:1994, 7.3.1 (from memory).
func AgreementOf(ctx context.Context, in *ranking.Inputs, out *ranking.Output, tester uuid.UUID) (Agreement, bool, error) {
	f := out.Fit("tilted")
	if f == nil {
		return Agreement{}, false, nil
	}
	if other, ok := in.Linked[tester]; ok {
		tester = other
	}
	code := int32(-1)
	for t, id := range f.Testers {
		if id == tester {
			code = int32(t)
		}
	}
	if code < 0 {
		return Agreement{}, false, nil
	}
	v, err := newView(ctx, in, out, f)
	if err != nil {
		return Agreement{}, false, err
	}
	a := v.agreement(code)
	a.TesterID = tester
	return a, true, nil
}

func (v *view) agreement(tester int32) Agreement {
	a := Agreement{Testers: len(v.Testers)}
	for _, d := range v.testers() {
		if d.tester != tester {
			continue
		}
		if len(v.Testers) > 1 {
			a.Offset, a.OffsetU = finite(math.Expm1(d.delta)), finite(d.se)
			a.ZPrime, a.Zeta, a.En, a.H, a.K = finite(d.zPrime), finite(d.zeta), finite(d.en), finite(d.h), finite(d.k)
		}
		a.Scatter, a.Claimed = finite(d.scatter), finite(d.meanClaimed)
	}
	if a.H != nil {
		a.HLimit = finite(hLimit(len(v.Testers)))
	}
	a.Panels = v.panelAgreements(tester)
	return a
}

func (v *view) panelAgreements(tester int32) []PanelAgreement {
	l := effectsOf(v.Fit.Level(compare.TesterPanel))
	out := []PanelAgreement{}
	size := map[string]float64{}
	for i := range l.Len() {
		if l.Tester[i] != tester {
			continue
		}
		rows := v.opinion(tester, l.Panel[i])
		p := PanelAgreement{
			PanelModel: v.Panels[l.Panel[i]], Weight: fieldtest.Significant(l.Weight(i)), Share: fieldtest.Significant(v.share(rows)),
			Sessions: v.distinct(rows, sessionCode), Readings: len(rows),
		}
		if se := l.SE(i); se > 0 && len(v.others(l.Panel[i], tester)) > 0 {
			half := 1.959964 * se
			p.Ratio, p.RatioLo, p.RatioHi = finite(math.Exp(l.Delta(i))), finite(math.Exp(l.Delta(i)-half)), finite(math.Exp(l.Delta(i)+half))
			p.T = finite(l.T(i))
			size[p.PanelModel] = math.Abs(l.T(i))
		}
		out = append(out, p)
	}
	sort.SliceStable(out, func(i, j int) bool { return size[out[i].PanelModel] > size[out[j].PanelModel] })
	return out
}
