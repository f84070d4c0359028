package demo

import (
	"time"

	"evensun/internal/fieldtest"
)

// wiring is how the sections of a panel are joined, which decides what cover costs.
type wiring string

const (
	inSeries   wiring = "series"
	bypassed   wiring = "series_bypass"
	inParallel wiring = "parallel"
	twoStrings wiring = "two_strings"
)

// kept returns the share of the power that a panel gives with k of n sections covered.
func (w wiring) kept(k, n int) float64 {
	free := float64(n-k) / float64(n)
	switch w {
	case inParallel:
		return 0.98 * free
	case bypassed:
		return 0.93 * free
	case twoStrings:
		return 0.47
	}
	return 0.06
}

// panel is a model with its truth.
type panel struct {
	fieldtest.PanelModel
	share  float64 // true power at standard test conditions over the rating
	wiring wiring
	prices []price
}

// price is a price some days before the last session.
type price struct {
	amount, currency, region, condition string
	daysBefore                          int
}

// plate writes a nameplate; cells 0 is not stated.
func plate(pmaxW, vocV, iscA, vmpV, impA, gammaPerK, betaPerK, alphaPerK float64, cells int) fieldtest.Nameplate {
	n := fieldtest.Nameplate{
		PmaxW: new(pmaxW), VocV: new(vocV), IscA: new(iscA), VmpV: new(vmpV), ImpA: new(impA), Tolerance: &[2]float64{-0.03, 0.05},
		GammaPmaxPerK: new(gammaPerK), BetaVocPerK: new(betaPerK), AlphaIscPerK: new(alphaPerK), NOCTC: new(45.0),
	}
	if cells > 0 {
		n.CellsInSeries = new(cells)
	}
	return n
}

func built(t fieldtest.Technology, front fieldtest.Front, sections int) fieldtest.Construction {
	return fieldtest.Construction{Technology: t, Front: front, Sections: new(sections), WiringClaimed: "unknown", Mount: "kickstand"}
}

// sized writes sizes; mass 0 is not known.
func sized(massKg, panelM2, cellM2, foldedL float64) fieldtest.Size {
	s := fieldtest.Size{PanelAreaM2: new(panelM2), CellAreaM2: new(cellM2), FoldedVolumeL: new(foldedL)}
	if massKg > 0 {
		s.MassKg = new(massKg)
	}
	return s
}

func model(slug, maker, name string, n fieldtest.Nameplate, c fieldtest.Construction, s fieldtest.Size) fieldtest.PanelModel {
	return fieldtest.PanelModel{Slug: slug, Maker: maker, Model: name, Nameplate: n, Construction: c, Size: s}
}

// Places of the panels in the list.
const (
	tarn200 = iota
	tarn100
	halden160
	halden250
	quill60
	quill120
	orrin220
	orrin400
	fennick110
	ostrel300
	calbrae140
	drunnel90
)

// panels returns the invented models with their truth, in the order of the constants.
func panels() []panel {
	const perc, topcon, back, cigs = fieldtest.MonoPERC, fieldtest.TOPCon, fieldtest.BackContact, fieldtest.CIGS
	return []panel{
		{model("tarn-fold-200", "Tarn", "Fold 200", plate(200, 24.2, 10.6, 20.2, 9.9, -0.0035, -0.0029, 0.0005, 36), built(perc, "etfe", 4), sized(6.4, 1.12, 0.95, 14)),
			0.945, twoStrings, []price{{"329.00", "USD", "US", "new", 40}, {"349.00", "EUR", "DE", "new", 35}, {"210.00", "USD", "US", "used", 12}}},
		{model("tarn-fold-100", "Tarn", "Fold 100", plate(100, 24.1, 5.32, 20.1, 4.98, -0.0035, -0.0029, 0.0005, 36), built(perc, "etfe", 2), sized(3.3, 0.57, 0.48, 7.5)),
			0.955, inSeries, []price{{"169.00", "USD", "US", "new", 41}, {"179.00", "EUR", "FR", "new", 33}}},
		{model("halden-ridge-160", "Halden", "Ridge 160", plate(160, 21.6, 9.48, 18.0, 8.89, -0.0036, -0.0029, 0.0005, 32), built(perc, "pet", 4), sized(5.1, 0.92, 0.77, 12)),
			0.865, inParallel, []price{{"199.00", "USD", "US", "new", 60}, {"189.00", "USD", "US", "new", 9}, {"219.00", "EUR", "ES", "new", 22}}},
		{model("halden-ridge-250", "Halden", "Ridge 250", plate(250, 28.2, 11.3, 23.6, 10.6, -0.0031, -0.0026, 0.0004, 40), built(topcon, "etfe", 4), sized(8.2, 1.31, 1.11, 19)),
			0.925, bypassed, []price{{"419.00", "USD", "US", "new", 28}, {"439.00", "EUR", "DE", "new", 28}}},
		{model("quill-leaf-60", "Quill", "Leaf 60", plate(60, 23.0, 3.32, 19.3, 3.11, -0.0029, -0.0026, 0.0004, 32), built(back, "etfe", 3), sized(1.5, 0.32, 0.26, 3.2)),
			1.005, inParallel, []price{{"139.00", "EUR", "NL", "new", 50}, {"149.00", "USD", "US", "new", 48}}},
		{model("quill-leaf-120", "Quill", "Leaf 120", plate(120, 23.1, 6.6, 19.4, 6.19, -0.0029, -0.0026, 0.0004, 32), built(back, "etfe", 4), sized(2.9, 0.62, 0.525, 6.1)),
			0.985, twoStrings, []price{{"259.00", "EUR", "NL", "new", 50}, {"275.00", "USD", "US", "new", 21}}},
		{model("orrin-span-220", "Orrin", "Span 220", plate(220, 25.6, 10.9, 21.5, 10.23, -0.0030, -0.0026, 0.0004, 36), built(topcon, "etfe", 4), sized(6.1, 1.16, 0.98, 13)),
			0.935, bypassed, []price{{"389.00", "EUR", "AT", "new", 18}, {"399.00", "USD", "US", "new", 16}}},
		{model("orrin-span-400", "Orrin", "Span 400", plate(400, 45.4, 11.15, 38.2, 10.47, -0.0030, -0.0026, 0.0004, 64), built(topcon, "etfe", 4), sized(12.6, 2.1, 1.78, 31)),
			0.97, twoStrings, []price{{"799.00", "EUR", "AT", "new", 18}, {"829.00", "USD", "US", "new", 30}, {"640.00", "EUR", "AT", "refurbished", 5}}},
		{model("fennick-roll-110", "Fennick", "Roll 110", plate(110, 26.0, 6.0, 20.6, 5.34, -0.0036, -0.0030, 0.0003, 0), built(cigs, "pet", 4), sized(2.4, 0.86, 0.72, 6.8)),
			0.89, inParallel, []price{{"310.00", "USD", "CA", "new", 70}, {"299.00", "EUR", "IE", "new", 44}}},
		{model("ostrel-camp-300", "Ostrel", "Camp 300", plate(300, 32.6, 11.75, 27.2, 11.03, -0.0035, -0.0028, 0.0005, 48), built(perc, "etfe", 4), sized(9.9, 1.68, 1.43, 24)),
			0.805, inSeries, []price{{"359.00", "USD", "US", "new", 14}, {"369.00", "EUR", "PT", "new", 13}}},
		{model("calbrae-trek-140", "Calbrae", "Trek 140", plate(140, 24.4, 7.36, 20.3, 6.9, -0.0034, -0.0028, 0.0005, 36), built(perc, "etfe", 4), sized(4.2, 0.79, 0.67, 9)),
			0.90, bypassed, []price{{"229.00", "USD", "AU", "new", 26}, {"235.00", "EUR", "BE", "new", 24}}},
		{model("drunnel-pack-90", "Drunnel", "Pack 90", plate(90, 22.3, 5.2, 18.5, 4.87, -0.0037, -0.0030, 0.0005, 33), built(perc, "pet", 3), sized(0, 0.53, 0.44, 6)),
			0.835, inSeries, nil},
	}
}

// pricesOf dates the prices of a panel.
func pricesOf(p *panel, last time.Time) []fieldtest.Price {
	var out []fieldtest.Price
	for _, x := range p.prices {
		date := last.AddDate(0, 0, -x.daysBefore).Format(time.DateOnly)
		out = append(out, fieldtest.Price{Amount: x.amount, Currency: x.currency, Date: date, Region: x.region, Condition: x.condition})
	}
	return out
}
