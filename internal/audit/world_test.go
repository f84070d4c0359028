package audit_test

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/google/uuid"

	"evensun/internal/audit"
	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
	"evensun/internal/seedrand"
)

// A plan says what a made-up field test looks like. Standard deviations are relative.
type plan struct {
	testers, sessions, panels, perSession, readings int
	seed                                            uint64
	fault                                           fault
}

// A fault is planted in the data; zero values plant nothing.
type fault struct {
	tester   [2]float64 // number of the tester, deviation
	opinion  float64    // of tester 0 on panel 0
	session  float64    // session 0 of tester 1
	cell     float64    // panel 1 in session 1 of tester 2
	reading  float64    // first reading of panel 2 in session 2 of tester 3, or the next that has it
	swap     bool       // panels 0 and 1 carry each other's label in session 0 of tester 2
	rig      float64    // second rig of tester 4, used from session 3 on
	scatter  float64    // factor on the repeats of tester 5
	drift    float64    // per minute in session 4 of tester 1
	ageing   float64    // per day of panel 3
	copied   bool       // session 1 of tester 6 repeats the raw numbers of session 0 of tester 0
	digits   bool       // tester 7 ends all powers on 0 or 5
	steady   float64    // factor on the repeats of tester 6: too good
	conflict float64    // sessions that hold panels 0 and 1 shift panel 0
}

func usual() plan {
	return plan{testers: 8, sessions: 6, panels: 10, perSession: 5, readings: 2, seed: 1}
}

// A field holds the made-up inputs, with the ids of what a test asks for.
type field struct {
	in       ranking.Inputs
	raw      []audit.Raw
	testers  []uuid.UUID
	sessions [][]uuid.UUID
	rigs     [][2]uuid.UUID
	draw     *seedrand.Stream
	plan     plan
}

var start = time.Date(2026, 3, 1, 10, 0, 0, 0, time.UTC)

func (f *field) id(kind string, numbers ...int) uuid.UUID {
	return uuid.NewSHA1(uuid.NameSpaceOID, []byte(fmt.Sprint(kind, f.plan.seed, numbers)))
}

func slugOf(p int) string { return fmt.Sprintf("panel-%02d", p) }

func (p plan) field() *field {
	f := &field{draw: seedrand.New(p.seed * 7919), plan: p}
	f.in = ranking.Inputs{Rules: ranking.DefaultRules(), Through: 1, At: start}
	truth := make([]float64, p.panels)
	for i := range truth {
		truth[i] = math.Log(0.85) + 0.05*f.draw.Normal()
		rating := 100 + 20*float64(i)
		f.in.Panels = append(f.in.Panels, ranking.Panel{Slug: slugOf(i), Revision: 1, PmaxW: &rating})
	}
	for t := range p.testers {
		f.testers = append(f.testers, f.id("tester", t))
		f.rigs = append(f.rigs, [2]uuid.UUID{f.id("rig", t, 0), f.id("rig", t, 1)})
		f.sessions = append(f.sessions, nil)
		offset := 0.012 * f.draw.Normal()
		if p.fault.tester[1] != 0 && int(p.fault.tester[0]) == t {
			offset += p.fault.tester[1]
		}
		opinion := make([]float64, p.panels)
		for i := range opinion {
			opinion[i] = 0.008 * f.draw.Normal()
		}
		if t == 0 {
			opinion[0] += p.fault.opinion
		}
		for s := range p.sessions {
			f.session(t, s, offset, opinion, truth)
		}
	}
	f.copySession()
	return f
}

// order are the panels of a session: a random half; those that faults need come first.
func (f *field) order(t, s int) []int {
	var panels []int
	need := map[[2]int][]int{{0, 0}: {0}, {2, 1}: {1}, {3, 2}: {2}, {2, 0}: {0, 1}}
	panels = append(panels, need[[2]int{t, s}]...)
	for len(panels) < f.plan.perSession {
		p := f.draw.IntN(f.plan.panels)
		if f.plan.fault.opinion != 0 && t == 0 && len(panels) == 0 {
			p = 0
		}
		known := false
		for _, q := range panels {
			known = known || q == p
		}
		if !known {
			panels = append(panels, p)
		}
	}
	for i := len(panels) - 1; i > 0; i-- { // shuffled, so that order tells nothing
		j := f.draw.IntN(i + 1)
		panels[i], panels[j] = panels[j], panels[i]
	}
	return panels
}

func (f *field) session(t, s int, offset float64, opinion, truth []float64) {
	fault := f.plan.fault
	session := f.id("session", t, s)
	f.sessions[t] = append(f.sessions[t], session)
	at := start.AddDate(0, 0, 20*s+t)
	hour := offset + 0.02*f.draw.Normal()
	if t == 1 && s == 0 {
		hour += fault.session
	}
	rig := 0
	if t == 4 && s >= 3 {
		rig, hour = 1, hour+fault.rig
	}
	panels := f.order(t, s)
	both := contains(panels, 0) && contains(panels, 1)
	k := 0
	for round := range f.plan.readings {
		for _, p := range panels {
			cell := seedrand.New(f.plan.seed*31 + uint64(t*10007+s*101+p)).Normal()
			y := truth[p] + opinion[p] + hour + 0.006*cell
			scatter := 0.004
			switch {
			case t == 5 && fault.scatter > 0:
				scatter *= fault.scatter
			case t == 6 && fault.steady > 0:
				scatter *= fault.steady
			}
			y += scatter * f.draw.Normal()
			minutes := float64(2 * k)
			if t == 1 && s == 4 {
				y += fault.drift * minutes
			}
			if p == 3 {
				y += fault.ageing * float64(20*s+t)
			}
			if t == 2 && s == 1 && p == 1 {
				y += fault.cell
			}
			if t == 3 && s == 2 && p == 2 && round == 0 {
				y += fault.reading
			}
			if both && p == 0 {
				y += fault.conflict
			}
			slug := p
			if fault.swap && t == 2 && s == 0 && p <= 1 {
				slug = 1 - p
			}
			f.reading(t, session, f.rigs[t][rig], slug, *f.in.Panels[p].PmaxW*math.Exp(y), at.Add(time.Duration(minutes*float64(time.Minute))), k)
			k++
		}
	}
}

func contains(list []int, x int) bool {
	for _, y := range list {
		if y == x {
			return true
		}
	}
	return false
}

func (f *field) reading(t int, session, rig uuid.UUID, p int, power float64, at time.Time, k int) {
	id := uuid.NewSHA1(session, []byte{byte(k)})
	light := 0.85 + 0.1*f.draw.Uniform()
	f.in.Observations = append(f.in.Observations, ranking.Observation{
		ReadingID: id, SessionID: session, Revision: 1, ContentSHA256: session.String(), TesterID: f.testers[t], RigID: rig, RigRevision: 1,
		Panel: slugOf(p), Specimen: "unit-1", Label: fmt.Sprint(k + 1), TakenAt: at, Arrangement: fieldtest.Tilted, State: fieldtest.Counted,
		Result: &fieldtest.Result{
			StcPowerW: power, StcPowerUW: 0.02 * power, Rankable: true, IrradianceOrigin: fieldtest.OriginMeasured, EffectiveWM2: 1000 * light, CellC: 45,
			Parts: fieldtest.UncertaintyParts{Reading: 0.004, Session: 0.006, Rig: 0.005, Model: 0.002, Common: 0.003},
		},
	})
	volts := math.Round(10*(18+2*f.draw.Uniform())) / 10
	watts := math.Round(10*power*light) / 10
	if f.plan.fault.digits && t == 7 {
		watts = math.Round(2*power*light) / 2
	}
	amps := math.Round(100*watts/volts) / 100
	step, fine, tenth := 0.1, 0.01, 0.1
	f.raw = append(f.raw, audit.Raw{ReadingID: id, SessionID: session, TesterID: f.testers[t], Label: fmt.Sprint(k + 1), TakenAt: at,
		VoltageV: &volts, CurrentA: &amps, PowerW: &watts, Resolution: fieldtest.Resolution{VoltageV: &step, CurrentA: &fine, PowerW: &tenth}})
}

func (f *field) copySession() {
	if !f.plan.fault.copied {
		return
	}
	var from, to []int
	for i := range f.raw {
		switch f.raw[i].SessionID {
		case f.sessions[0][0]:
			from = append(from, i)
		case f.sessions[6][1]:
			to = append(to, i)
		}
	}
	for i := range to {
		f.raw[to[i]].VoltageV, f.raw[to[i]].CurrentA, f.raw[to[i]].PowerW = f.raw[from[i]].VoltageV, f.raw[from[i]].CurrentA, f.raw[from[i]].PowerW
	}
}

func (f *field) computed(t testing.TB) *ranking.Output {
	t.Helper()
	out, err := ranking.Compute(context.Background(), f.in, nil)
	if err != nil {
		t.Fatalf("Compute() = %v", err)
	}
	for _, failed := range out.Failed {
		t.Fatalf("dataset %s: %v", failed.Dataset, failed.Err)
	}
	return out
}

func (f *field) found(t testing.TB) []fieldtest.Finding {
	t.Helper()
	findings, err := audit.Find(context.Background(), &f.in, f.computed(t), f.raw)
	if err != nil {
		t.Fatalf("Find() = %v", err)
	}
	return findings
}
