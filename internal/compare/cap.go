package compare

import (
	"context"
	"fmt"
	"slices"
)

// capped returns the rows of at most limit sessions of each tester, those with the
// smallest SessionKey, and whether that is fewer than all. Codes stay.
func (t Table) capped(limit int) (Table, bool) {
	if limit <= 0 || t.Tester == nil {
		return t, false
	}
	sessions := make([][]int32, levels(t.Tester))
	seen := make([]bool, t.Sessions())
	for k, j := range t.Session {
		if !seen[j] {
			seen[j] = true
			sessions[t.Tester[k]] = append(sessions[t.Tester[k]], j)
		}
	}
	keep, all := make([]bool, len(seen)), true
	for _, list := range sessions {
		slices.SortFunc(list, t.compareSessions)
		for _, j := range list[:min(limit, len(list))] {
			keep[j] = true
		}
		all = all && len(list) <= limit
	}
	if all {
		return t, false
	}
	return t.rows(func(k int) bool { return keep[t.Session[k]] }), true
}

func (t Table) compareSessions(a, b int32) int {
	if t.SessionKey != nil && t.SessionKey[a] != t.SessionKey[b] {
		if t.SessionKey[a] < t.SessionKey[b] {
			return -1
		}
		return 1
	}
	return int(a) - int(b)
}

// rows returns the rows that keep names; codes stay.
func (t Table) rows(keep func(k int) bool) Table {
	out := t
	out.Value, out.Variance, out.Minutes = filter(t.Value, keep), filter(t.Variance, keep), filter(t.Minutes, keep)
	out.Panel, out.Session, out.Tester = filter(t.Panel, keep), filter(t.Session, keep), filter(t.Tester, keep)
	out.Rig, out.Specimen = filter(t.Rig, keep), filter(t.Specimen, keep)
	return out
}

func filter[T any](x []T, keep func(k int) bool) []T {
	if x == nil {
		return nil
	}
	count := 0
	for k := range x {
		if keep(k) {
			count++
		}
	}
	out := make([]T, 0, count)
	for k, v := range x {
		if keep(k) {
			out = append(out, v)
		}
	}
	return out
}

// estimateCapped takes the variances from capped data and the panels from all.
func estimateCapped(ctx context.Context, t Table, opt Options, e *engine) (*Fit, error) {
	part, smaller := t.capped(opt.CapSessions)
	source := e
	if smaller {
		var err error
		if source, err = newEngine(part, opt); err != nil {
			return nil, err
		}
	}
	pr, err := source.search().run(ctx, source.start())
	if err != nil {
		return nil, fmt.Errorf("variances from at most %d sessions a tester: %w", opt.CapSessions, err)
	}
	if smaller {
		if err := e.settle(pr.theta); err != nil {
			return nil, err
		}
		return e.fit(pr), nil
	}
	return e.capped(pr)
}

// settle evaluates at a theta, bounds the shares and measures.
func (e *engine) settle(theta vec) error {
	if err := e.evaluate(theta); err != nil {
		return err
	}
	if _, err := e.capShares(); err != nil {
		return err
	}
	return e.measure()
}

// A Share is what one tester contributes to the information on one panel.
type Share struct {
	Tester, Panel int32
	Share         float64 // information of the tester's opinion over that of all
	Testers       int     // testers with an opinion of the panel
}

// Shares returns the share of every opinion, by tester and panel.
func (f *Fit) Shares() []Share {
	e, d := f.e, f.e.d
	testers, panels := d.pairs(d.groupStart)
	info := e.groupInformation()
	diag, count := make([]float64, d.panels), make([]int, d.panels)
	for g, i := range panels {
		diag[i] += info[g]
		count[i]++
	}
	out := make([]Share, len(info))
	for g, v := range info {
		out[g] = Share{Tester: testers[g], Panel: panels[g], Share: v / diag[panels[g]], Testers: count[panels[g]]}
	}
	return out
}

// groupInformation returns the sum of M over each tester x panel pair's opinions.
func (e *engine) groupInformation() []float64 {
	d := e.d
	out := make([]float64, d.groups())
	for t := range d.blocks() {
		first, m := d.size(t)
		for a := range m {
			for b := range m {
				if d.opGroup[first+a] == d.opGroup[first+b] {
					out[d.opGroup[first+a]] += e.st.big[d.blockAt[t]+a*m+b]
				}
			}
		}
	}
	return out
}

const (
	shareRounds  = 50
	shareTesters = 3 // testers of a panel from which shares are bounded
)

// capShares raises the additions of opinions until none has more than MaxShare of
// the information on its panel, and those of Unchecked testers not more together than one
// other tester. Alone, an addition x turns the information v of an
// opinion into v/(1 + x v); opinions of one tester move each other, hence rounds. It
// tells whether any was raised, and leaves the engine evaluated.
func (e *engine) capShares() (raised bool, err error) {
	for range shareRounds {
		together, single := e.raiseUnchecked(), e.raiseAdditions()
		if !together && !single {
			break
		}
		raised = true
		if err := e.evaluate(e.st.theta); err != nil {
			return raised, err
		}
	}
	return raised, nil
}

func (e *engine) raiseAdditions() (raised bool) {
	if e.opt.MaxShare <= 0 || e.opt.MaxShare >= 1 {
		return false
	}
	limit := e.opt.MaxShare / (1 - e.opt.MaxShare)
	d := e.d
	_, panels := d.pairs(d.groupStart)
	info := e.groupInformation()
	total, count := make([]float64, d.panels), make([]int, d.panels)
	for g, i := range panels {
		total[i] += info[g]
		count[i]++
	}
	for g, i := range panels {
		rest := total[i] - info[g]
		if count[i] < shareTesters || !(rest > 0) || info[g] <= limit*rest*(1+1e-9) {
			continue
		}
		e.add.group[g] += 1/(limit*rest) - 1/info[g]
		raised = true
	}
	return raised
}

// raiseUnchecked raises the additions of unchecked testers' opinions of a panel until
// their informations add to no more than the mean of the other testers', each by the same
// factor. Panels that only unchecked testers have read keep all as they are.
func (e *engine) raiseUnchecked() (raised bool) {
	if e.opt.Unchecked == nil {
		return false
	}
	testers, panels := e.d.pairs(e.d.groupStart)
	info := e.groupInformation()
	unchecked, checked, count := make([]float64, e.d.panels), make([]float64, e.d.panels), make([]float64, e.d.panels)
	for g, i := range panels {
		if e.opt.Unchecked[testers[g]] {
			unchecked[i] += info[g]
			continue
		}
		checked[i] += info[g]
		count[i]++
	}
	for g, i := range panels {
		if !e.opt.Unchecked[testers[g]] || count[i] == 0 || !(checked[i] > 0) {
			continue
		}
		if factor := unchecked[i] * count[i] / checked[i]; factor > 1+1e-9 {
			e.add.group[g] += (factor - 1) / info[g]
			raised = true
		}
	}
	return raised
}
