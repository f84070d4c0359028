package ranking

import (
	"context"
	"math"
	"sort"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
)

// coverClasses are the classes of shade retention, the default first.
func coverClasses() []string { return []string{"0.25", "0.33", "0.50"} }

// An Output is everything that one computation yields.
type Output struct {
	Fits  []*Fitted // by dataset, for the audit
	Lists []List    // every ranking of every component
}

// Start holds the variances of an earlier computation by dataset, to begin from.
type Start map[string]compare.Theta

// Compute fits every dataset of the inputs and makes all rankings. Datasets without
// readings yield empty rankings, so that every measure is always served.
func Compute(ctx context.Context, in Inputs, start Start) (*Output, error) {
	observations := sorted(in.Observations)
	panels := map[string]*Panel{}
	for i := range in.Panels {
		panels[in.Panels[i].Slug] = &in.Panels[i]
	}
	out := &Output{}
	power, err := out.add(ctx, &in, newDataset(&in, "tilted", tiltedRows(&in, observations)), false, start)
	if err != nil {
		return nil, err
	}
	err = out.power(ctx, &in, power, panels)
	if err != nil {
		return nil, err
	}
	for _, class := range coverClasses() {
		rows := retentionRows(&in, observations, fieldtest.ShadeRetention, class)
		f, err := out.add(ctx, &in, newDataset(&in, "covered/"+class, rows), true, start)
		if err != nil {
			return nil, err
		}
		if err := out.lists(ctx, &in, f, List{Measure: fieldtest.ShadeRetention, Cover: class}, panels); err != nil {
			return nil, err
		}
	}
	flat, err := out.add(ctx, &in, newDataset(&in, "flat", retentionRows(&in, observations, fieldtest.FlatRetention, "")), true, start)
	if err != nil {
		return nil, err
	}
	return out, out.lists(ctx, &in, flat, List{Measure: fieldtest.FlatRetention}, panels)
}

// add fits one dataset; an empty one has no fit.
func (out *Output) add(ctx context.Context, in *Inputs, d *Dataset, ratio bool, start Start) (*Fitted, error) {
	if len(d.Rows) == 0 {
		return &Fitted{Dataset: d}, nil
	}
	d.fillTable(in, ratio)
	var from *compare.Theta
	if theta, ok := start[d.Name]; ok {
		from = &theta
	}
	f, err := fit(ctx, in, d, from)
	if err != nil {
		return nil, err
	}
	out.Fits = append(out.Fits, f)
	return f, nil
}

// power makes the rankings of all measures of the tilted fit.
func (out *Output) power(ctx context.Context, in *Inputs, f *Fitted, panels map[string]*Panel) error {
	for _, measure := range []string{
		fieldtest.StcPower, fieldtest.ShareOfRating, fieldtest.PowerPerMass, fieldtest.PowerPerCellArea, fieldtest.PowerPerPanelArea,
	} {
		if err := out.lists(ctx, in, f, List{Measure: measure}, panels); err != nil {
			return err
		}
	}
	currencies := Currencies(in.Panels)
	if len(currencies) == 0 {
		currencies = []string{""}
	}
	for _, currency := range currencies {
		if err := out.lists(ctx, in, f, List{Measure: fieldtest.PowerPerPrice, Currency: currency}, panels); err != nil {
			return err
		}
	}
	return nil
}

// lists makes one ranking a component, the default one first.
func (out *Output) lists(ctx context.Context, in *Inputs, f *Fitted, l List, panels map[string]*Panel) error {
	if f.Fit == nil {
		l.Component = 1
		l.Ranking = emptyRanking(in, l)
		l.Ranking.SHA256 = hashOf(in, f.Dataset, l, panels)
		out.Lists = append(out.Lists, l)
		return nil
	}
	for c := 1; c <= f.componentCount(); c++ {
		l.Component = c
		made, err := f.list(ctx, in, l, panels)
		if err != nil {
			return err
		}
		made.Ranking.Cover = coverOf(l.Cover)
		made.Ranking.SHA256 = hashOf(in, f.Dataset, l, panels)
		out.Lists = append(out.Lists, made)
	}
	return nil
}

// emptyRanking serves a measure before any data.
func emptyRanking(in *Inputs, l List) fieldtest.Ranking {
	m, _ := fieldtest.MeasureNamed(l.Measure)
	r := fieldtest.Ranking{
		Measure: m.Name, Unit: m.Unit, Currency: l.Currency, Cover: coverOf(l.Cover), ComputedThrough: in.Through, ComputedAt: in.At,
		Headline: "There are no readings for this measure yet.",
		Entries:  []fieldtest.Entry{}, Unranked: []fieldtest.Unranked{}, Cautions: []fieldtest.Caution{},
	}
	if l.Currency != "" {
		r.Unit = "W/" + l.Currency
	}
	return r
}

func coverOf(class string) *float64 {
	shares := map[string]float64{"0.25": 0.25, "0.33": 0.33, "0.50": 0.5}
	if share, ok := shares[class]; ok {
		return &share
	}
	return nil
}

// Thetas returns the variances of all fits, to begin the next computation from.
func (out *Output) Thetas() Start {
	s := Start{}
	for _, f := range out.Fits {
		s[f.Name] = f.Fit.Theta
	}
	return s
}

// Fit returns the fit of a dataset, nil without readings.
func (out *Output) Fit(name string) *Fitted {
	for _, f := range out.Fits {
		if f.Name == name {
			return f
		}
	}
	return nil
}

// Results gathers, for every panel model, its places in the default rankings and the
// readings that its power rests on.
func (out *Output) Results(in *Inputs) map[string]*fieldtest.PanelResults {
	results := map[string]*fieldtest.PanelResults{}
	for _, p := range in.Panels {
		results[p.Slug] = &fieldtest.PanelResults{
			PanelModel: p.Slug, ComputedThrough: in.Through, Entries: []fieldtest.MeasureEntry{},
			Contributions: []fieldtest.Contribution{}, Findings: []fieldtest.Finding{}, Cautions: []fieldtest.Caution{},
		}
	}
	seen := map[string]bool{}
	for i := range out.Lists {
		l := &out.Lists[i]
		if l.Cover != "" && l.Cover != coverClasses()[0] {
			continue
		}
		firstOfMeasure := !seen[l.Measure]
		if l.Component == 1 && !firstOfMeasure {
			continue // another currency
		}
		seen[l.Measure] = true
		place(l, results)
	}
	if f := out.Fit("tilted"); f != nil {
		for p, list := range f.contributions() {
			if r := results[f.Panels[p]]; r != nil {
				r.Contributions = f.named(list)
			}
		}
	}
	return results
}

// place writes a list's entries to its panels. A panel of another component has its
// entry in that component's list.
func place(l *List, results map[string]*fieldtest.PanelResults) {
	for i := range l.Ranking.Entries {
		e := &l.Ranking.Entries[i]
		setEntry(results[e.PanelModel], fieldtest.MeasureEntry{Measure: l.Measure, Unit: l.Ranking.Unit, Entry: e})
	}
	for i := range l.Ranking.Unranked {
		u := &l.Ranking.Unranked[i]
		setEntry(results[u.PanelModel], fieldtest.MeasureEntry{Measure: l.Measure, Unit: l.Ranking.Unit, Unranked: u})
	}
}

func setEntry(r *fieldtest.PanelResults, e fieldtest.MeasureEntry) {
	if r == nil {
		return
	}
	for i := range r.Entries {
		if r.Entries[i].Measure == e.Measure {
			if e.Entry != nil && r.Entries[i].Entry == nil {
				r.Entries[i] = e
			}
			return
		}
	}
	r.Entries = append(r.Entries, e)
}

func (f *Fitted) named(list []contribution) []fieldtest.Contribution {
	out := make([]fieldtest.Contribution, 0, len(list))
	for _, c := range list {
		o := f.Rows[c.row].Observation
		out = append(out, fieldtest.Contribution{
			SessionID: o.SessionID, ReadingID: o.ReadingID, TesterID: o.TesterID, Label: o.Label, TakenAt: o.TakenAt,
			StcPowerW: o.Result.StcPowerW, StcPowerUW: o.Result.StcPowerUW, Weight: c.weight, RobustWeight: c.robust,
		})
	}
	return out
}

// index returns the code of a panel in the fit.
func (f *Fitted) index(slug string) (int, bool) {
	i := sort.SearchStrings(f.Panels, slug)
	return i, i < len(f.Panels) && f.Panels[i] == slug && !math.IsNaN(f.Fit.Mu[i])
}
