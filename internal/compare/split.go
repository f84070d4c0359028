package compare

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// A Split compares what sessions with both panels say of a contrast with what the
// rest of the network says.
type Split struct {
	I, J               int
	Direct, DirectSE   float64
	Others, OthersSE   float64 // the indirect estimate
	Z, P, PHolm        float64 // of their difference
	Sessions, Testers  int
	NoIndirectEvidence bool // then the fields from Others to PHolm are NaN
}

const (
	splitSessions = 2
	splitTesters  = 2
)

// Inconsistency splits every pair of panels that share two sessions of two testers.
// The direct estimate takes sessions as fixed; its variance is
// se^2 + 2 ((sigI^2 + sigU^2)/testers + sigC^2/sessions), a unit of each panel a tester. The
// indirect one is what is left:
//
//	v_I = 1/(1/v_N - 1/v_D)    d_I = v_I (d_N/v_N - d_D/v_D)
//
// Error: approximate where sessions hold more panels than the two.
//
// Source: S. Dias et al., Stat. Med. 29 (2010) 932-944.
func (f *Fit) Inconsistency(ctx context.Context, t Table) ([]Split, error) {
	var out []Split
	for _, p := range t.sharedPairs() {
		s, err := f.split(ctx, t, p)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	holmSplits(out)
	return out, nil
}

// a pair of panels, the sessions that hold both and how many testers those have.
type sharedPair struct {
	i, j     int32
	sessions map[int32]bool
	testers  int
}

func (t Table) sharedPairs() []sharedPair {
	panels := make(map[int32][]int32) // of a session
	owner := make(map[int32]int32)
	for k, s := range t.Session {
		if !slices.Contains(panels[s], t.Panel[k]) {
			panels[s] = append(panels[s], t.Panel[k])
		}
		if t.Tester != nil {
			owner[s] = t.Tester[k]
		}
	}
	pairs := map[[2]int32]map[int32]bool{}
	for s, list := range panels {
		for _, i := range list {
			for _, j := range list {
				if i < j {
					if pairs[[2]int32{i, j}] == nil {
						pairs[[2]int32{i, j}] = map[int32]bool{}
					}
					pairs[[2]int32{i, j}][s] = true
				}
			}
		}
	}
	var out []sharedPair
	for p, sessions := range pairs {
		testers := map[int32]bool{}
		for s := range sessions {
			testers[owner[s]] = true
		}
		if len(sessions) >= splitSessions && len(testers) >= splitTesters {
			out = append(out, sharedPair{p[0], p[1], sessions, len(testers)})
		}
	}
	slices.SortFunc(out, func(a, b sharedPair) int {
		if a.i != b.i {
			return int(a.i - b.i)
		}
		return int(a.j - b.j)
	})
	return out
}

func (f *Fit) split(ctx context.Context, t Table, p sharedPair) (Split, error) {
	rows := t.rows(func(k int) bool { return p.sessions[t.Session[k]] && (t.Panel[k] == p.i || t.Panel[k] == p.j) })
	held := Theta{Residual: f.Theta[Residual]}
	direct, err := Estimate(ctx, Table{Value: rows.Value, Variance: rows.Variance, Panel: rows.Panel, Session: rows.Session},
		Options{Random: []Term{Residual}, SessionFixed: true, Start: &held, Hold: true})
	if err != nil {
		return Split{}, err
	}
	d, err := direct.Contrast(int(p.i), int(p.j))
	if err != nil {
		return Split{}, err
	}
	n, err := f.Contrast(int(p.i), int(p.j))
	if err != nil {
		return Split{}, err
	}
	v := d.SE*d.SE + 2*((f.Theta[TesterPanel]+f.Theta[Specimen])/float64(p.testers)+f.Theta[SessionPanel]/float64(len(p.sessions)))
	s := splitNetwork(d.Estimate, v, n.Estimate, n.SE*n.SE)
	s.I, s.J, s.Sessions, s.Testers = int(p.i), int(p.j), len(p.sessions), p.testers
	return s, nil
}

// splitNetwork returns the split of a network estimate given its direct part.
func splitNetwork(direct, directV, network, networkV float64) Split {
	s := Split{Direct: direct, DirectSE: math.Sqrt(directV)}
	if directV <= networkV*(1+1e-6) {
		s.NoIndirectEvidence = true
		s.Others, s.OthersSE, s.Z, s.P, s.PHolm = math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()
		return s
	}
	v := 1 / (1/networkV - 1/directV)
	s.Others, s.OthersSE = v*(network/networkV-direct/directV), math.Sqrt(v)
	s.Z = (direct - s.Others) / math.Sqrt(directV+v)
	s.P = 2 * distuv.UnitNormal.CDF(-math.Abs(s.Z))
	return s
}

// holmSplits sets the p-values adjusted over all splits with indirect evidence.
func holmSplits(splits []Split) {
	var order []int
	for i, s := range splits {
		if !s.NoIndirectEvidence {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int {
		if splits[a].P < splits[b].P {
			return -1
		}
		if splits[a].P > splits[b].P {
			return 1
		}
		return 0
	})
	least := 0.0
	for rank, i := range order {
		least = max(least, min(1, float64(len(order)-rank)*splits[i].P))
		splits[i].PHolm = least
	}
}
