package ranking_test

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
	"evensun/internal/seedrand"
)

// A world makes invented readings. The truth of panel p is a share exp(mu[p]) of 200 W.
type world struct {
	in       ranking.Inputs
	mu       []float64
	draw     *seedrand.Stream
	tester   map[int]float64 // own bias
	opinion  map[[2]int]float64
	sessions int
	sd       spreads
	gamma    []float64 // error of the temperature coefficient by panel, 1/K; nil: none
	drift    float64   // of ln P per 30 minutes
	metered  func(tester int) bool

	truth []float64 // of worlds whose mu holds errors that all readings of a panel share
	light []float64 // error of the low-light curve by panel, of ln P by ln(G/1000); nil: none

	knowsLight bool // errors of testers and hours are left out, though drawn
	parts      fieldtest.UncertaintyParts
}

// spreads are the standard deviations of a world.
type spreads struct{ tester, session, opinion, cell, reading float64 }

var usual = spreads{tester: 0.02, session: 0.03, opinion: 0.012, cell: 0.008, reading: 0.006}

var noon = time.Date(2026, 6, 14, 12, 0, 0, 0, time.UTC)

func newWorld(seed uint64, panels int, sd spreads) *world {
	w := &world{draw: seedrand.New(seed), tester: map[int]float64{}, opinion: map[[2]int]float64{}, sd: sd}
	w.in.Rules, w.in.At, w.in.Through = ranking.DefaultRules(), noon, 7
	w.parts = fieldtest.UncertaintyParts{Reading: 0.008, Session: 0.005, Rig: 0.005, Model: 0.003, Common: 0.004}
	for p := range panels {
		w.mu = append(w.mu, math.Log(0.80)+0.03*float64(panels-p))
		w.in.Panels = append(w.in.Panels, ranking.Panel{Slug: slugOf(p), Revision: 1, PmaxW: pointer(200.0)})
	}
	return w
}

func slugOf(p int) string        { return fmt.Sprintf("panel-%03d", p) }
func pointer[T any](x T) *T      { return &x }
func idOf(text string) uuid.UUID { s := sha256.Sum256([]byte(text)); return uuid.UUID(s[:16]) }

// sessionID is one of the ids that the service makes: later ones are larger.
func sessionID(n int) uuid.UUID {
	id := idOf(fmt.Sprint("session ", n))
	binary.BigEndian.PutUint32(id[:], uint32(n))
	return id
}

func testerID(t int) uuid.UUID { return idOf(fmt.Sprint("tester ", t)) }

// effect is drawn once for a key.
func effect[K comparable](m map[K]float64, k K, sd float64, s *seedrand.Stream) float64 {
	if _, ok := m[k]; !ok {
		m[k] = sd * s.Normal()
	}
	return m[k]
}

// session adds one session with `repeats` readings of each panel, in rounds, and
// returns the index of its first observation.
func (w *world) session(tester, repeats int, panels ...int) int {
	order := []int{}
	for range repeats {
		order = append(order, panels...)
	}
	return w.ordered(tester, order)
}

// ordered reads panels in the order given, ten minutes apart.
func (w *world) ordered(tester int, order []int) int {
	w.sessions++
	first := len(w.in.Observations)
	hour, heat := w.sd.session*w.draw.Normal(), 10+35*w.draw.Uniform()
	light := 900.0
	if w.light != nil {
		light = 500 + 500*w.draw.Uniform()
	}
	t := effect(w.tester, tester, w.sd.tester, w.draw)
	if w.knowsLight {
		hour, t = 0, 0
	}
	cells := map[int]float64{}
	for k, p := range order {
		y := w.mu[p] + t + hour + effect(w.opinion, [2]int{tester, p}, w.sd.opinion, w.draw) + effect(cells, p, w.sd.cell, w.draw) + w.sd.reading*w.draw.Normal()
		if w.gamma != nil {
			y -= w.gamma[p] * heat
		}
		if w.light != nil {
			y += w.light[p] * math.Log(light/1000)
		}
		y += w.drift * float64(k) * 10 / 30
		w.in.Observations = append(w.in.Observations, w.observation(tester, k, p, y, heat, light))
	}
	return first
}

func (w *world) observation(tester, k, p int, y, heat, light float64) ranking.Observation {
	origin := fieldtest.OriginMeasured
	if w.metered != nil && !w.metered(tester) {
		origin = fieldtest.OriginClearSky
	}
	power := 200 * math.Exp(y)
	o := ranking.Observation{
		ReadingID: idOf(fmt.Sprint("reading ", w.sessions, k)), SessionID: sessionID(w.sessions), Revision: 1,
		ContentSHA256: fmt.Sprint("content ", w.sessions), TesterID: testerID(tester), RigID: idOf(fmt.Sprint("rig ", tester)), RigRevision: 1,
		RigKind: fieldtest.MPPTController, Panel: slugOf(p), Specimen: "unit-1", Label: fmt.Sprint(k + 1),
		TakenAt: noon.Add(time.Duration(w.sessions)*24*time.Hour + time.Duration(k)*10*time.Minute), LatitudeDeg: 38, LongitudeDeg: -106,
		Arrangement: fieldtest.Tilted, State: fieldtest.Counted,
		Result: &fieldtest.Result{
			StcPowerW: power, StcPowerUW: 0.015 * power, IrradianceOrigin: origin, Rankable: true, EffectiveWM2: light, CellC: 25 + heat,
			Parts: w.parts,
		},
	}
	if w.light != nil {
		r := o.Result
		r.GammaRelative, r.LowLightRelative = gammaSD*heat, lightSD*math.Abs(math.Log(light/1000))
		r.Parts.Model = math.Hypot(r.Parts.Model, math.Hypot(r.GammaRelative, r.LowLightRelative))
	}
	return o
}

// Spreads of the errors of temperature coefficients, 1/K, and of low-light curves.
const gammaSD, lightSD = 0.00029, 0.03

// fill makes n sessions of each of some testers with all panels.
func (w *world) fill(testers, n, repeats int) *world {
	all := make([]int, len(w.mu))
	for p := range all {
		all[p] = p
	}
	for range n {
		for t := range testers {
			w.session(t, repeats, all...)
		}
	}
	return w
}

func (w *world) compute(t testing.TB) *ranking.Output {
	t.Helper()
	return compute(t, w.in)
}

func compute(t testing.TB, in ranking.Inputs) *ranking.Output {
	t.Helper()
	out, err := ranking.Compute(t.Context(), in, nil)
	if err != nil {
		t.Fatalf("Compute() = %v", err)
	}
	for _, f := range out.Failed {
		t.Fatalf("dataset %s: %v", f.Dataset, f.Err)
	}
	return out
}

// list returns the ranking of a measure, by currency or cover class where there is one.
func list(t testing.TB, out *ranking.Output, measure, key string, component int) *fieldtest.Ranking {
	t.Helper()
	for i := range out.Lists {
		l := &out.Lists[i]
		if l.Measure == measure && l.Component == component && (key == "" || key == l.Currency || key == l.Cover) {
			return &l.Ranking
		}
	}
	t.Fatalf("there is no list of %s %q component %d", measure, key, component)
	return nil
}

func entry(t testing.TB, r *fieldtest.Ranking, slug string) fieldtest.Entry {
	t.Helper()
	i := slices.IndexFunc(r.Entries, func(e fieldtest.Entry) bool { return e.PanelModel == slug })
	if i < 0 {
		t.Fatalf("%s has no rank by %s: %+v", slug, r.Measure, r.Unranked)
	}
	return r.Entries[i]
}

func unranked(t testing.TB, r *fieldtest.Ranking, slug string) fieldtest.Unranked {
	t.Helper()
	i := slices.IndexFunc(r.Unranked, func(u fieldtest.Unranked) bool { return u.PanelModel == slug })
	if i < 0 {
		t.Fatalf("%s is not among the unranked of %s", slug, r.Measure)
	}
	return r.Unranked[i]
}

func jsonOf(t testing.TB, out *ranking.Output) string {
	t.Helper()
	raw, err := json.Marshal(out.Lists)
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}

// shuffled returns the observations in another order.
func shuffled(list []ranking.Observation, seed uint64) []ranking.Observation {
	out, s := slices.Clone(list), seedrand.New(seed)
	for i := len(out) - 1; i > 0; i-- {
		j := s.IntN(i + 1)
		out[i], out[j] = out[j], out[i]
	}
	return out
}

// scaled returns an observation with its power multiplied.
func scaled(o ranking.Observation, factor float64) ranking.Observation {
	r := *o.Result
	r.StcPowerW *= factor
	r.StcPowerUW *= factor
	o.Result = &r
	return o
}

// renamed gives an id that keeps no order of the old one.
func renamed(id uuid.UUID, copy int) uuid.UUID {
	var b [8]byte
	binary.BigEndian.PutUint64(b[:], uint64(copy))
	return idOf(string(id[:]) + string(b[:]))
}
