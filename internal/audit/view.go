package audit

import (
	"context"
	"math"
	"sort"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

// A view is one fit with what the checks look up in it.
type view struct {
	*ranking.Fitted
	in        *ranking.Inputs
	lnPmax    []float64 // per panel; 0 for ratios
	unit      string    // of figures: W, or 1 for ratios
	se        []float64 // per panel
	weight    []float64 // per row: share of the panel's information
	ofPanel   [][]int   // rows
	ofSession [][]int
	ofTester  [][]int
	entries   map[string]*fieldtest.Entry // of the list that shows this fit best
	top       map[string]bool             // panels that readers see first
}

// topRanks is how many entries of a list most readers see (common practice, no source).
const topRanks = 10

func newView(ctx context.Context, in *ranking.Inputs, out *ranking.Output, f *ranking.Fitted) (*view, error) {
	se, err := f.Fit.StandardErrors(ctx)
	if err != nil {
		return nil, err
	}
	v := &view{Fitted: f, in: in, se: se, weight: f.RowWeights(), unit: "1", entries: map[string]*fieldtest.Entry{}, top: map[string]bool{}}
	v.ofPanel, v.ofSession, v.ofTester = make([][]int, len(f.Panels)), make([][]int, len(f.Sessions)), make([][]int, len(f.Testers))
	for k := range f.Rows {
		r := &f.Rows[k]
		v.ofPanel[r.Panel] = append(v.ofPanel[r.Panel], k)
		v.ofSession[r.Session] = append(v.ofSession[r.Session], k)
		v.ofTester[r.Tester] = append(v.ofTester[r.Tester], k)
	}
	v.lnPmax = make([]float64, len(f.Panels))
	if f.Name == "tilted" {
		v.unit = "W"
		v.ratings()
	}
	v.lists(out)
	return v, nil
}

func (v *view) ratings() {
	for i := range v.in.Panels {
		p := &v.in.Panels[i]
		if k := sort.SearchStrings(v.Panels, p.Slug); k < len(v.Panels) && v.Panels[k] == p.Slug && p.PmaxW != nil {
			v.lnPmax[k] = math.Log(*p.PmaxW)
		}
	}
}

// lists notes the places of this fit's panels.
func (v *view) lists(out *ranking.Output) {
	for i := range out.Lists {
		l := &out.Lists[i]
		if ranking.DatasetOf(l.Measure, l.Cover) != v.Name {
			continue
		}
		for j := range l.Ranking.Entries {
			e := &l.Ranking.Entries[j]
			v.top[e.PanelModel] = v.top[e.PanelModel] || e.Rank <= topRanks
			if v.entries[e.PanelModel] == nil {
				v.entries[e.PanelModel] = e
			}
		}
	}
}

// figure is an estimate or reading of a panel in the view's unit.
func (v *view) figure(ln float64, panel int32) float64 { return math.Exp(ln + v.lnPmax[panel]) }

// mean of the responses of some rows.
func (v *view) mean(rows []int) float64 {
	sum := 0.0
	for _, k := range rows {
		sum += v.Rows[k].Y
	}
	return sum / float64(len(rows))
}

// share is what some rows have of their panel's information.
func (v *view) share(rows []int) float64 {
	sum := 0.0
	for _, k := range rows {
		sum += v.weight[k]
	}
	return min(1, sum)
}

// cell returns the rows of a panel in a session.
func (v *view) cell(session, panel int32) []int {
	var rows []int
	for _, k := range v.ofSession[session] {
		if v.Rows[k].Panel == panel {
			rows = append(rows, k)
		}
	}
	return rows
}

// opinion returns the rows of a tester on a panel.
func (v *view) opinion(tester, panel int32) []int {
	var rows []int
	for _, k := range v.ofPanel[panel] {
		if v.Rows[k].Tester == tester {
			rows = append(rows, k)
		}
	}
	return rows
}

// distinct counts the values of a code over rows.
func (v *view) distinct(rows []int, code func(*ranking.Row) int32) int {
	seen := map[int32]bool{}
	for _, k := range rows {
		seen[code(&v.Rows[k])] = true
	}
	return len(seen)
}

func sessionCode(r *ranking.Row) int32 { return r.Session }
func panelCode(r *ranking.Row) int32   { return r.Panel }

// opinions are the predicted deviations of testers from all others on a panel: the
// variance times the score of each.
func (v *view) opinions() map[[2]int32]float64 {
	level := v.Fit.Level(compare.TesterPanel)
	out := make(map[[2]int32]float64, level.Len())
	for i := range level.Len() {
		out[[2]int32{level.Tester[i], level.Panel[i]}] = (v.Fit.Theta[compare.TesterPanel] + level.Added[i]) * level.Score[i]
	}
	return out
}
