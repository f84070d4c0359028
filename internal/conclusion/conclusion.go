package conclusion

import (
	"evensun/internal/diode"
	"evensun/internal/fieldtest"
)

// A Panel is a panel model with all that its conclusions stand on.
type Panel struct {
	Slug         string
	GammaPerK    *float64 // of power, by the nameplate, 1/K
	Technology   fieldtest.Technology
	Coefficients *fieldtest.Coefficients // that its readings tell
	Covered      []Covered
	Flat         []*fieldtest.Retention
	Shade        [3]*fieldtest.MeasureEntry // places with a quarter, a third and half covered
	FlatPlace    *fieldtest.MeasureEntry
	Orders       []fieldtest.SessionOrder
}

// Of returns the conclusions about a panel model, by the library's simulations of covers.
func Of(library *diode.Library, p *Panel, through int64) fieldtest.Conclusions {
	c := fieldtest.Conclusions{
		PanelModel: p.Slug, ComputedThrough: through,
		Wiring: WiringOf(library, p.Covered, nil), Flat: FlatOf(p.Flat, p.FlatPlace),
		Heat: HeatOf(p.GammaPerK, p.Technology, p.Coefficients), WeakLight: WeakLightOf(p.Technology, p.Coefficients),
		Sessions: p.Orders,
	}
	for i, cover := range covers() {
		c.Shade = append(c.Shade, ShadeOf(cover, p.Shade[i]))
	}
	c.Heat.Sentence, c.WeakLight.Sentence = heatSentence(&c.Heat), weakSentence(&c.WeakLight)
	roundAll(&c.Heat.TemperaturePerK, &c.Heat.TemperatureUPerK, &c.Heat.KeptHot, &c.Heat.KeptHotU,
		&c.WeakLight.Efficiency, &c.WeakLight.EfficiencyU, &c.WeakLight.Slope, &c.WeakLight.SlopeU)
	if c.Sessions == nil {
		c.Sessions = []fieldtest.SessionOrder{}
	}
	return c
}

// OfNone returns what follows of a panel model that nobody has read.
func OfNone(m *fieldtest.PanelModel) fieldtest.Conclusions {
	c := Of(&diode.Library{}, &Panel{Slug: m.Slug, GammaPerK: m.Nameplate.Canonical().GammaPmaxPerK, Technology: m.Construction.Technology}, 0)
	Claim(&c, m)
	return c
}

// Claim adds what the maker says of the wiring. How many sections there are matters where
// nobody has covered one yet.
func Claim(c *fieldtest.Conclusions, m *fieldtest.PanelModel) {
	c.WiringClaimed = m.Construction.WiringClaimed
	if c.WiringClaimed == "" {
		c.WiringClaimed = "unknown"
	}
	if c.Wiring.Readings == 0 {
		c.Wiring = WiringOf(&diode.Library{}, nil, m.Construction.Sections)
	}
}

func roundAll(all ...*float64) {
	for _, x := range all {
		*x = fieldtest.Significant(*x)
	}
}
