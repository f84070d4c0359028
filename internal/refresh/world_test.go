package refresh_test

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/refresh"
	"evensun/internal/seedrand"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

// A world is a database with invented testers, panels and sessions. The truth of panel
// p is that it gives the share 0.80 + 0.03 p of its rating.
type world struct {
	db       *store.DB
	testers  []fieldtest.Tester
	rigs     []fieldtest.StoredRig
	reviewer fieldtest.Tester
	slugs    []string
	draw     *seedrand.Stream
	sessions int
}

func newWorld(t testing.TB, testers, panels int) *world {
	t.Helper()
	return worldOn(t, storetest.New(t), testers, panels)
}

func worldOn(t testing.TB, db *store.DB, testers, panels int) *world {
	t.Helper()
	w := &world{db: db, draw: seedrand.New(7)}
	w.reviewer = fieldtest.Tester{ID: storetest.NewID(t), DisplayName: "Careful Reader"}
	w.write(t, func(_ context.Context, tx *store.Tx) error { return tx.CreateTester(&w.reviewer) })
	for i := range testers {
		tester := fieldtest.Tester{ID: storetest.NewID(t), DisplayName: fmt.Sprintf("Field Hand %d", i)}
		rig := fieldtest.StoredRig{ID: storetest.NewID(t), TesterID: tester.ID, Rig: fieldtest.Rig{Name: "bench", Kind: fieldtest.MPPTController, PowerReadAt: fieldtest.PanelSide}}
		w.write(t, func(_ context.Context, tx *store.Tx) error { return tx.CreateTester(&tester) })
		w.write(t, func(_ context.Context, tx *store.Tx) error { return tx.CreateRig(&rig) })
		w.testers, w.rigs = append(w.testers, tester), append(w.rigs, rig)
	}
	for p := range panels {
		m := fieldtest.StoredPanelModel{ID: storetest.NewID(t), CreatedBy: w.testers[0].ID}
		m.PanelModel = fieldtest.PanelModel{Slug: fmt.Sprintf("panel-%d", p), Maker: "Invented", Model: fmt.Sprint(p), Nameplate: fieldtest.Nameplate{PmaxW: pointer(200.0)}}
		w.write(t, func(_ context.Context, tx *store.Tx) error { return tx.CreatePanelModel(&m) })
		w.slugs = append(w.slugs, m.Slug)
	}
	return w
}

func pointer[T any](x T) *T { return &x }

// write runs a write that must succeed, and returns its sequence.
func (w *world) write(t testing.TB, do func(ctx context.Context, tx *store.Tx) error) int64 {
	t.Helper()
	var sequence int64
	_, _, err := w.db.Write(context.WithoutCancel(t.Context()), store.Idempotency{}, false, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		if err := do(ctx, tx); err != nil {
			return store.Response{}, err
		}
		var err error
		sequence, err = tx.Seal(ctx)
		return store.Response{Status: 201}, err
	})
	if err != nil {
		t.Fatalf("Write() = %v", err)
	}
	return sequence
}

var noon = time.Date(2026, 6, 14, 12, 0, 0, 0, time.UTC)

// session makes a session of one tester with two tilted readings of each panel named;
// factor multiplies the readings of a panel.
func (w *world) session(t testing.TB, tester int, panels []int, factor map[int]float64) store.SessionWrite {
	t.Helper()
	w.sessions++
	start := noon.Add(time.Duration(w.sessions) * 24 * time.Hour)
	s := store.SessionWrite{ID: storetest.NewID(t), Revision: 1, TesterID: w.testers[tester].ID, RigID: w.rigs[tester].ID, RigRevision: 1, Method: "1", ModelRevisions: map[string]int{}}
	s.Session = fieldtest.Session{StartedAt: start, Site: fieldtest.Site{LatitudeDeg: 38.5 + float64(tester), LongitudeDeg: -106}, Rig: fieldtest.SessionRig{ID: &w.rigs[tester].ID}}
	hour := 0.02 * w.draw.Normal()
	for _, p := range panels {
		s.ModelRevisions[w.slugs[p]] = 1
		cell := 0.006 * w.draw.Normal()
		f, ok := factor[p]
		if !ok {
			f = 1
		}
		for range 2 {
			power := 200 * (0.80 + 0.03*float64(p)) * f * math.Exp(hour+cell+0.004*w.draw.Normal())
			w.reading(t, &s, start, p, power)
		}
	}
	return sealed(t, s)
}

func (w *world) reading(t testing.TB, s *store.SessionWrite, start time.Time, p int, power float64) {
	t.Helper()
	at := start.Add(time.Duration(len(s.Judged)) * time.Minute)
	label := fmt.Sprint(len(s.Judged) + 1)
	s.Session.Readings = append(s.Session.Readings, fieldtest.Reading{
		Label: label, Panel: fieldtest.PanelRef{Model: w.slugs[p], Specimen: "unit-1"}, TakenAt: &at,
		Kind: fieldtest.OperatingPoint, Arrangement: fieldtest.Tilted, PowerW: pointer(math.Round(power*9) / 10),
		Irradiance: fieldtest.Irradiance{POAWM2: pointer(900.0), Sensor: fieldtest.ReferenceCell},
	})
	u := 0.01 * power
	s.Judged = append(s.Judged, fieldtest.JudgedReading{
		ID: pointer(storetest.NewID(t)), Label: label, PanelModel: &w.slugs[p], Specimen: "unit-1", Kind: fieldtest.OperatingPoint,
		Arrangement: fieldtest.Tilted, TakenAt: at, State: fieldtest.Counted,
		Result: &fieldtest.Result{
			StcPowerW: power, StcPowerUW: u, StcPowerLoW: power - 2*u, StcPowerHiW: power + 2*u, Coverage: 0.95,
			ShareOfRating: pointer(power / 200), Method: "simple_power", IrradianceOrigin: fieldtest.OriginMeasured,
			Parts:        fieldtest.UncertaintyParts{Reading: 0.004, Session: 0.005, Rig: 0.005, Model: 0.003, Common: 0.004},
			EffectiveWM2: 890, CellC: 45, CellMethod: "measured", Rankable: true,
		},
	})
}

// sealed fills in the raw form and its hash.
func sealed(t testing.TB, s store.SessionWrite) store.SessionWrite {
	t.Helper()
	raw, err := json.Marshal(s.Session)
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(append(raw, s.ID[:]...))
	s.Raw, s.SHA256 = raw, hex.EncodeToString(sum[:])
	return s
}

func (w *world) save(t testing.TB, s store.SessionWrite) int64 {
	t.Helper()
	return w.write(t, func(_ context.Context, tx *store.Tx) error { return tx.SaveSession(s) })
}

// fill stores n sessions of every tester with all panels.
func (w *world) fill(t testing.TB, n int) {
	t.Helper()
	all := make([]int, len(w.slugs))
	for p := range all {
		all[p] = p
	}
	for range n {
		for tester := range w.testers {
			w.save(t, w.session(t, tester, all, nil))
		}
	}
}

func (w *world) once(t testing.TB) *refresh.Worker {
	t.Helper()
	r := refresh.New(w.db, refresh.Options{})
	if err := r.Once(t.Context()); err != nil {
		t.Fatalf("Once() = %v", err)
	}
	return r
}

func (w *world) ranking(t testing.TB, measure, key string) fieldtest.Ranking {
	t.Helper()
	row, err := w.db.Ranking(t.Context(), measure, key)
	if err != nil {
		t.Fatalf("Ranking(%s, %q) = %v", measure, key, err)
	}
	var r fieldtest.Ranking
	if err := json.Unmarshal(row.Body, &r); err != nil {
		t.Fatal(err)
	}
	return r
}

func order(r fieldtest.Ranking) []string {
	var slugs []string
	for _, e := range r.Entries {
		slugs = append(slugs, e.PanelModel)
	}
	return slugs
}

func entryOf(t testing.TB, r fieldtest.Ranking, slug string) fieldtest.Entry {
	t.Helper()
	for _, e := range r.Entries {
		if e.PanelModel == slug {
			return e
		}
	}
	t.Fatalf("%s of %s is not ranked: %+v", slug, r.Measure, r.Unranked)
	return fieldtest.Entry{}
}
