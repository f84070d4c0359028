package ranking

import (
	"context"
	"math"
	"sort"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
)

// CoverClasses returns the classes of shade retention, the default first.
func CoverClasses() []string { return []string{"0.25", "0.33", "0.50"} }

// An Output is everything that one computation yields.
type Output struct {
	Fits   []*Fitted // by dataset, for the audit
	Lists  []List    // every ranking of every component
	Failed []Failure // datasets without a fit, whose rankings are missing
}

// A Failure says why a dataset could not be ranked.
type Failure struct {
	Dataset string
	Err     error
}

// Start holds the variances of an earlier computation by dataset, to begin from.
type Start map[string]compare.Theta

// Compute fits every dataset of the inputs and makes all rankings. Datasets without
// readings yield empty rankings, so that every measure is always served. A dataset that
// cannot be fitted is named in Failed and does not keep others from being ranked.
//
// Error: only that the context ended.
func Compute(ctx context.Context, in Inputs, start Start) (*Output, error) {
	in.order()
	observations := sorted(in.Observations)
	out := &Output{}
	for _, d := range datasets(&in, observations) {
		err := out.dataset(ctx, &in, d, start)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if err != nil {
			out.Failed = append(out.Failed, Failure{Dataset: d.name, Err: err})
		}
	}
	return out, nil
}

// A work is one dataset and the lists to make of it.
type work struct {
	name  string
	ratio bool // what a session shares cancels in the response
	rows  []Row
	lists []List

	backlog map[string]*backlog
}

// datasets are all fits of the inputs, in their fixed order.
func datasets(in *Inputs, observations []Observation) []work {
	all := []work{{name: "tilted", rows: tiltedRows(in, observations), lists: powerLists(in)}}
	for _, class := range CoverClasses() {
		all = append(all, work{name: "covered/" + class, ratio: true, rows: retentionRows(in, observations, fieldtest.ShadeRetention, class),
			lists: []List{{Measure: fieldtest.ShadeRetention, Cover: class}}})
	}
	all = append(all, work{name: "flat", ratio: true, rows: retentionRows(in, observations, fieldtest.FlatRetention, ""),
		lists: []List{{Measure: fieldtest.FlatRetention}}})
	for i := range all {
		all[i].backlog = backlogs(in, observations, all[i].name)
	}
	return all
}

// powerLists are the rankings of the tilted fit.
func powerLists(in *Inputs) []List {
	var lists []List
	for _, measure := range []string{
		fieldtest.StcPower, fieldtest.ShareOfRating, fieldtest.PowerPerMass, fieldtest.PowerPerCellArea, fieldtest.PowerPerPanelArea,
		fieldtest.PowerPerPackedVolume, fieldtest.Hot, fieldtest.WeakLight,
	} {
		lists = append(lists, List{Measure: measure})
	}
	currencies := Currencies(in.Panels)
	if len(currencies) == 0 {
		currencies = []string{""}
	}
	for _, currency := range currencies {
		lists = append(lists, List{Measure: fieldtest.PowerPerPrice, Currency: currency})
	}
	return lists
}

// ComputeOne makes one list only, fitting only the dataset that it needs. Empty currency
// and cover mean the defaults. A component that does not exist has an empty list.
func ComputeOne(ctx context.Context, in Inputs, want List) (List, error) {
	in.order()
	if m, ok := fieldtest.MeasureNamed(want.Measure); !ok {
		return List{}, fieldtest.Missing("measure", m.Name)
	}
	want.Component = max(1, want.Component)
	if want.Measure == fieldtest.ShadeRetention && want.Cover == "" {
		want.Cover = CoverClasses()[0]
	}
	if currencies := Currencies(in.Panels); want.Measure == fieldtest.PowerPerPrice && want.Currency == "" && len(currencies) > 0 {
		want.Currency = currencies[0]
	}
	for _, w := range datasets(&in, sorted(in.Observations)) {
		if w.name != datasetOf(want.Measure, want.Cover) {
			continue
		}
		w.lists = []List{want}
		out := &Output{}
		if err := out.dataset(ctx, &in, w, nil); err != nil {
			return List{}, err
		}
		for _, l := range out.Lists {
			if l.Component == want.Component {
				return l, nil
			}
		}
	}
	want.Ranking = newRanking(&in, &want)
	want.Ranking.Headline = "There is no such group of panels."
	return want, nil
}

// dataset fits one dataset and makes its lists; an empty one has no fit.
func (out *Output) dataset(ctx context.Context, in *Inputs, w work, start Start) error {
	f := &Fitted{Dataset: newDataset(in, w.name, w.rows), backlog: w.backlog}
	if len(w.rows) > 0 {
		f.fillTable(in, w.ratio)
		var from *compare.Theta
		if theta, ok := start[w.name]; ok {
			from = &theta
		}
		var err error
		if f, err = fit(ctx, in, f.Dataset, from); err != nil {
			return err
		}
		f.backlog = w.backlog
		out.Fits = append(out.Fits, f)
	}
	panels := in.bySlug()
	for _, l := range w.lists {
		if err := out.lists(ctx, in, f, l, panels); err != nil {
			return err
		}
	}
	return nil
}

// lists makes one ranking a component, the default one first.
func (out *Output) lists(ctx context.Context, in *Inputs, f *Fitted, l List, panels map[string]*Panel) error {
	if f.Fit == nil {
		l.Component = 1
		l.Ranking = f.emptyRanking(in, &l)
		l.Ranking.SHA256 = f.hashOf(in, l, panels)
		out.Lists = append(out.Lists, l)
		return nil
	}
	for c := 1; c <= f.componentCount(); c++ {
		l.Component = c
		made, err := f.list(ctx, in, l, panels)
		if err != nil {
			return err
		}
		made.Ranking.SHA256 = f.hashOf(in, l, panels)
		out.Lists = append(out.Lists, made)
	}
	return nil
}

// emptyRanking serves a measure before any data that count.
func (f *Fitted) emptyRanking(in *Inputs, l *List) fieldtest.Ranking {
	r := newRanking(in, l)
	r.Headline = "There are no readings for this measure yet."
	r.Unranked = append(r.Unranked, f.unreadPanels(in)...)
	if len(r.Unranked) > 0 {
		r.Headline = "No reading counts for this measure yet."
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
	for i := range out.Lists {
		if l := &out.Lists[i]; out.isDefault(l) {
			place(l, results)
		}
	}
	if f := out.Fit("tilted"); f != nil {
		for p, list := range f.contributions() {
			if r := results[f.Panels[p]]; r != nil {
				r.Contributions, r.Coefficients = f.named(list), f.coefficients(p)
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

// holds tells whether a panel has an estimate in the fit.
func (f *Fitted) holds(slug string) bool {
	if f.Fit == nil {
		return false
	}
	_, ok := f.index(slug)
	return ok
}
