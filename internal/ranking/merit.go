package ranking

import (
	"math"
	"sort"
	"strconv"

	"evensun/internal/fieldtest"
)

// A merit carries a panel's logarithmic estimate to a measure: ln(figure) = mu + lnFactor,
// with the relative variance of what was divided by.
type merit struct {
	lnFactor float64
	variance float64
	missing  string // no_mass, no_area, no_price where the measure needs it
	needs    string
}

// meritOf returns how a measure is made of a panel's share of rating.
func meritOf(measure, currency string, p *Panel, rules *Rules) merit {
	switch measure {
	case fieldtest.ShareOfRating, fieldtest.ShadeRetention, fieldtest.FlatRetention:
		return merit{}
	case fieldtest.StcPower:
		return merit{lnFactor: math.Log(*p.PmaxW)}
	case fieldtest.PowerPerMass:
		if p.MassKg == nil {
			return merit{missing: "no_mass", needs: "the panel's mass in kg"}
		}
		return per(p, *p.MassKg, rules.UMassKg / *p.MassKg)
	case fieldtest.PowerPerCellArea:
		if p.CellAreaM2 == nil {
			return merit{missing: "no_area", needs: "the cell area in m2"}
		}
		return per(p, *p.CellAreaM2, rules.UCellAreaRelative)
	case fieldtest.PowerPerPanelArea:
		if p.PanelAreaM2 == nil {
			return merit{missing: "no_area", needs: "the panel area in m2"}
		}
		return per(p, *p.PanelAreaM2, rules.UPanelAreaRelative)
	}
	price, ok := PriceIn(p.Prices, currency)
	if !ok {
		return merit{missing: "no_price", needs: "a price as new in " + currency}
	}
	return per(p, price, 0)
}

func per(p *Panel, divisor, u float64) merit {
	return merit{lnFactor: math.Log(*p.PmaxW / divisor), variance: u * u}
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
