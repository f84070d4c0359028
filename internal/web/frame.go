package web

import (
	"context"
	"regexp"

	"evensun/internal/fieldtest"
)

// A frameView is what every page has around its content.
type frameView struct {
	Title, Definition string
	Demo              bool
	Menu              []menuView
}

// A menuView is one line of the choices at the head.
type menuView struct {
	Title string
	Links []linkView
}

// A choice is a list that the menu leads to: a measure, of those with classes in one
// class.
type choice struct{ measure, class, title string }

// choices are the lists in the order of what may matter to somebody.
func choices() []struct {
	title string
	lists []choice
} {
	return []struct {
		title string
		lists []choice
	}{
		{"More power", []choice{
			{fieldtest.ShareOfRating, "", "share of rating"}, {fieldtest.StcPower, "", "watts"},
			{fieldtest.PowerPerCellArea, "", "cell efficiency"}, {fieldtest.PowerPerPanelArea, "", "panel efficiency"},
		}},
		{"For its", []choice{{fieldtest.PowerPerPrice, "", "price"}, {fieldtest.PowerPerMass, "", "weight"}, {fieldtest.PowerPerPackedVolume, "", "packed size"}}},
		{"When", []choice{
			{fieldtest.ShadeRetention, "0.25", "a quarter shaded"}, {fieldtest.ShadeRetention, "0.33", "a third shaded"}, {fieldtest.ShadeRetention, "0.50", "half shaded"},
			{fieldtest.FlatRetention, "", "flat on the ground"}, {fieldtest.Hot, "", "hot"}, {fieldtest.WeakLight, "", "light is weak"},
		}},
	}
}

// path is where a list stands.
func (c choice) path() string {
	if c.class == "" {
		return "/rankings/" + c.measure
	}
	return "/rankings/" + c.measure + "?cover=" + c.class
}

// menu shows all choices; here is the list that is shown, if one is.
func menu(here choice) []menuView {
	var out []menuView
	for _, group := range choices() {
		m := menuView{Title: group.title}
		for _, c := range group.lists {
			m.Links = append(m.Links, linkView{Title: c.title, Href: c.path(), Here: c.measure == here.measure && c.class == here.class})
		}
		out = append(out, m)
	}
	return out
}

// titleOf is what a list is called on pages, with the class where it has some.
func titleOf(r *fieldtest.Ranking, class string) string {
	titles := map[string]string{
		fieldtest.StcPower: "Power in standard light", fieldtest.ShareOfRating: "Share of rating", fieldtest.PowerPerMass: "Watts per kilogram",
		fieldtest.PowerPerCellArea: "Cell efficiency", fieldtest.PowerPerPanelArea: "Panel efficiency", fieldtest.PowerPerPackedVolume: "Watts per litre packed",
		fieldtest.FlatRetention: "Flat on the ground", fieldtest.Hot: "In the heat", fieldtest.WeakLight: "In weak light",
	}
	switch r.Measure {
	case fieldtest.PowerPerPrice:
		return "Watts for the price" + of(r.Currency)
	case fieldtest.ShadeRetention:
		return "Part shade, " + map[string]string{"0.25": "a quarter", "0.33": "a third", "0.50": "half"}[class] + " covered"
	}
	return titles[r.Measure]
}

func of(currency string) string {
	if currency == "" {
		return ""
	}
	return " in " + currency
}

// slugs are the words of a sentence that may be one.
var slugs = regexp.MustCompile(`[a-z0-9][a-z0-9-]+[a-z0-9]`)

// names says panels by maker and model in place of their slugs.
type names map[string]string

func (n names) of(slug string) string {
	if name, ok := n[slug]; ok {
		return name
	}
	return slug
}

// in replaces the slugs of a sentence.
func (n names) in(sentence string) string {
	return slugs.ReplaceAllStringFunc(sentence, n.of)
}

// names reads what panels are called.
func (s *Site) names(ctx context.Context) (names, error) {
	n, err := s.reads.Names(ctx)
	return names(n), err
}

func panelPath(slug string) string { return "/panels/" + slug }
