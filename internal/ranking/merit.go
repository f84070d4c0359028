package ranking

import (
	"math"
	"sort"
	"strconv"

	"evensun/internal/conclusion"
	"evensun/internal/fieldtest"
)

// A merit carries a panel's logarithmic estimate to a measure: ln(figure) = mu + lnFactor,
// with the relative variance of what was divided by.
type merit struct {
	lnFactor float64
	variance float64
	missing  string // no_mass, no_area, no_price where the measure needs it
	needs    string
	divisor  string // mass, area, volume or price; empty: nothing is divided by
	alone    bool   // lnFactor is the whole of it: mu has no part in the figure
}

// uPackedVolume is the relative standard uncertainty of a folded volume (common practice,
// no source: fabric gives way).
const uPackedVolume = 0.05

// meritOf returns how a measure is made of a panel's share of rating and of its own
// coefficients, nil where its readings tell none.
func meritOf(measure, currency string, p *Panel, own *fieldtest.Coefficients, rules *Rules) merit {
	switch measure {
	case fieldtest.ShareOfRating, fieldtest.ShadeRetention, fieldtest.FlatRetention:
		return merit{}
	case fieldtest.StcPower:
		return merit{lnFactor: math.Log(*p.PmaxW)}
	case fieldtest.PowerPerMass:
		if p.MassKg == nil {
			return merit{missing: "no_mass", needs: "the panel's mass in kg"}
		}
		return per(p, "mass", *p.MassKg, rules.UMassKg / *p.MassKg)
	case fieldtest.PowerPerCellArea:
		if p.CellAreaM2 == nil {
			return merit{missing: "no_area", needs: "the cell area in m2"}
		}
		return per(p, "area", *p.CellAreaM2, rules.UCellAreaRelative)
	case fieldtest.PowerPerPanelArea:
		if p.PanelAreaM2 == nil {
			return merit{missing: "no_area", needs: "the panel area in m2"}
		}
		return per(p, "area", *p.PanelAreaM2, rules.UPanelAreaRelative)
	case fieldtest.PowerPerPackedVolume:
		if p.FoldedVolumeL == nil {
			return merit{missing: "no_volume", needs: "the folded volume in litres"}
		}
		return per(p, "volume", *p.FoldedVolumeL, uPackedVolume)
	case fieldtest.Hot:
		return hot(p, own)
	case fieldtest.WeakLight:
		return weakLight(p, own)
	}
	price, ok := PriceIn(p.Prices, currency)
	if !ok {
		return merit{missing: "no_price", needs: "a price as new in " + currency}
	}
	return per(p, "price", price, 0)
}

// hot carries a share of rating at 25 C to cells of 65 C. The error of the coefficient
// counts in full, though a part of it was in the share already with the other sign: what
// is read at 50 C is nearer to 65 C than to 25 C.
func hot(p *Panel, own *fieldtest.Coefficients) merit {
	h := conclusion.HeatOf(p.GammaPerK, p.Technology, own)
	u := h.KeptHotU / h.KeptHot
	return merit{lnFactor: math.Log(h.KeptHot), variance: u * u}
}

// weakLight is a figure of the panel's own readings: what is usual for its class ranks
// nothing.
func weakLight(p *Panel, own *fieldtest.Coefficients) merit {
	l := conclusion.WeakLightOf(p.Technology, own)
	if l.Basis != conclusion.Readings {
		return merit{missing: "weak_light_not_told", needs: "readings in light of 400 to 600 W/m2 beside readings in full sun", alone: true}
	}
	u := l.EfficiencyU / l.Efficiency
	return merit{lnFactor: math.Log(l.Efficiency), variance: u * u, alone: true}
}

func per(p *Panel, name string, divisor, u float64) merit {
	return merit{lnFactor: math.Log(*p.PmaxW / divisor), variance: u * u, divisor: name}
}

// Conditions of a divisor out of line (common practice, no source): a watt of one panel
// costs or weighs several times what that of another does, but hardly five times the
// middle.
const (
	divisorsInLine = 5
	farOutOfLine   = 5.0
)

// merits returns those of the panels of a fit. What one tester said of a mass, an area or
// a price is no measurement: a divisor far from what a rated watt of the others takes
// ranks nothing until it is corrected.
func (f *Fitted) merits(in *Inputs, l List, panels map[string]*Panel) []merit {
	out := make([]merit, len(f.Panels))
	var known []float64
	for p, slug := range f.Panels {
		out[p] = meritOf(l.Measure, l.Currency, panels[slug], f.coefficients(p), &in.Rules)
		if out[p].divisor != "" {
			known = append(known, out[p].lnFactor)
		}
	}
	if len(known) < divisorsInLine {
		return out
	}
	sort.Float64s(known)
	middle := known[len(known)/2]
	for p := range out {
		if d := out[p].divisor; d != "" && math.Abs(out[p].lnFactor-middle) > math.Log(farOutOfLine) {
			out[p].missing = d + "_out_of_line"
			out[p].needs = "a " + d + " that is right: a rated watt takes less than a fifth or more than five times what it does of other panels"
		}
	}
	return out
}

// PriceIn returns the newest price as new in a currency, the lowest on one date.
// Nothing is ever converted between currencies.
func PriceIn(prices []fieldtest.Price, currency string) (float64, bool) {
	best, date := 0.0, ""
	for _, p := range prices {
		amount, err := strconv.ParseFloat(p.Amount, 64)
		if err != nil || amount <= 0 || p.Currency != currency || p.Condition != "new" {
			continue
		}
		if p.Date > date || p.Date == date && amount < best {
			best, date = amount, p.Date
		}
	}
	return best, date != ""
}

// Currencies returns the currencies that prices as new are in, the one of most panel
// models first, then by name.
func Currencies(panels []Panel) []string {
	count := map[string]int{}
	for _, p := range panels {
		seen := map[string]bool{}
		for _, price := range p.Prices {
			if price.Condition == "new" && !seen[price.Currency] {
				seen[price.Currency] = true
				count[price.Currency]++
			}
		}
	}
	names := make([]string, 0, len(count))
	for c := range count {
		names = append(names, c)
	}
	sort.Slice(names, func(i, j int) bool {
		if count[names[i]] != count[names[j]] {
			return count[names[i]] > count[names[j]]
		}
		return names[i] < names[j]
	})
	return names
}
