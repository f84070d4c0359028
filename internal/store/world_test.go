package store_test

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

// A world is a fresh database with a tester, a reviewer, a rig and a panel model.
type world struct {
	db       *store.DB
	tester   fieldtest.Tester
	reviewer fieldtest.Tester
	rig      fieldtest.StoredRig
	model    fieldtest.StoredPanelModel
}

const slug = "tarn-fold-200"

func newWorld(t testing.TB) *world {
	t.Helper()
	return worldOn(t, storetest.New(t))
}

func worldOn(t testing.TB, db *store.DB) *world {
	t.Helper()
	w := &world{db: db}
	w.tester = fieldtest.Tester{ID: storetest.NewID(t), DisplayName: "Field Hand"}
	w.reviewer = fieldtest.Tester{ID: storetest.NewID(t), DisplayName: "Careful Reader"}
	w.rig = fieldtest.StoredRig{ID: storetest.NewID(t), TesterID: w.tester.ID, Rig: fieldtest.Rig{Name: "bench 1", Kind: fieldtest.MPPTController, PowerReadAt: fieldtest.PanelSide}}
	w.model = newModel(t, slug, w.tester.ID)
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return errors.Join(tx.CreateTester(&w.tester), tx.CreateTester(&w.reviewer))
	})
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return errors.Join(tx.CreateRig(&w.rig), tx.CreatePanelModel(&w.model))
	})
	return w
}

func newModel(t testing.TB, slug string, by uuid.UUID) fieldtest.StoredPanelModel {
	t.Helper()
	m := fieldtest.StoredPanelModel{ID: storetest.NewID(t), CreatedBy: by}
	m.PanelModel = fieldtest.PanelModel{Slug: slug, Maker: "Tarn", Model: "Fold 200", Nameplate: fieldtest.Nameplate{PmaxW: pointer(200.0)}}
	return m
}

func pointer[T any](x T) *T { return &x }

// write runs a write that must succeed, and returns its sequence.
func (w *world) write(t testing.TB, do func(ctx context.Context, tx *store.Tx) error) int64 {
	t.Helper()
	sequence, err := w.try(t, do)
	if err != nil {
		t.Fatalf("Write() = %v", err)
	}
	return sequence
}

func (w *world) try(t testing.TB, do func(ctx context.Context, tx *store.Tx) error) (int64, error) {
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
	return sequence, err
}

var noon = time.Date(2026, 6, 14, 12, 0, 0, 0, time.UTC)

// session makes a session with n tilted readings of the world's panel model.
func (w *world) session(t testing.TB, n int) store.SessionWrite {
	t.Helper()
	s := store.SessionWrite{ID: storetest.NewID(t), TesterID: w.tester.ID, RigID: w.rig.ID, RigRevision: 1, Method: "1", ModelRevisions: map[string]int{slug: 1}}
	s.Session = fieldtest.Session{
		StartedAt: noon, Site: fieldtest.Site{LatitudeDeg: 38.5, LongitudeDeg: -106, AltitudeM: pointer(2150.0)},
		Rig:     fieldtest.SessionRig{ID: &w.rig.ID},
		Weather: fieldtest.Weather{AirTemperatureC: pointer(24.0), WindSpeedMS: pointer(1.5)},
		Plane:   fieldtest.Plane{TiltDeg: pointer(35.0), AzimuthDeg: pointer(180.0)},
	}
	for i := range n {
		at := noon.Add(time.Duration(i) * time.Minute)
		label := fmt.Sprint(i + 1)
		s.Session.Readings = append(s.Session.Readings, fieldtest.Reading{
			Label: label, Panel: fieldtest.PanelRef{Model: slug, Specimen: "unit-1"}, TakenAt: &at,
			Kind: fieldtest.OperatingPoint, Arrangement: fieldtest.Tilted, VoltageV: pointer(18.1), CurrentA: pointer(8.42),
			PowerW: pointer(152.0 + float64(i)), Irradiance: fieldtest.Irradiance{POAWM2: pointer(912.0), Sensor: fieldtest.ReferenceCell},
			BackTemperatureC: pointer(47.5), WarmUpMin: pointer(20.0),
		})
		s.Judged = append(s.Judged, fieldtest.JudgedReading{
			ID: pointer(storetest.NewID(t)), Label: label, PanelModel: pointer(slug), Specimen: "unit-1", Kind: fieldtest.OperatingPoint,
			Arrangement: fieldtest.Tilted, TakenAt: at, State: fieldtest.Counted, Result: result(188.5 + float64(i)/7),
		})
	}
	return sealed(t, s)
}

func result(powerW float64) *fieldtest.Result {
	return &fieldtest.Result{StcPowerW: powerW, StcPowerUW: 7.1, StcPowerLoW: powerW - 14, StcPowerHiW: powerW + 14, Coverage: 0.95,
		ShareOfRating: pointer(powerW / 200), Method: "simple_power", IrradianceOrigin: fieldtest.OriginMeasured,
		Parts:        fieldtest.UncertaintyParts{Reading: 0.0162, Session: 0.0049, Rig: 0.0322, Model: 0.0084, Common: 0.0052},
		EffectiveWM2: 905.3, CellC: 50.1, CellMethod: "measured", Defaults: []string{"accuracy.power_percent"}, GammaRelative: 0.002, LowLightRelative: 0.003, Rankable: true}
}

// sealed fills in the raw form and the hash of a session, which differ between calls.
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

// finding makes a hold on whatever ids are set by about.
func finding(t testing.TB, rule string, about func(*fieldtest.Finding)) fieldtest.Finding {
	t.Helper()
	f := fieldtest.Finding{ID: storetest.NewID(t), Rule: rule, Severity: fieldtest.Hold, Value: pointer(1.2), Limit: pointer(1.0), Relation: "<=", Unit: "1",
		Reason: "Too high.", Basis: map[string]any{"expected": 1.0}, State: fieldtest.FindingOpen, Priority: 50, Band: "medium"}
	if about != nil {
		about(&f)
	}
	return f
}

func (w *world) verdict(t testing.TB, f uuid.UUID, d fieldtest.Decision) error {
	t.Helper()
	_, err := w.try(t, func(ctx context.Context, tx *store.Tx) error {
		return tx.AddVerdict(ctx, store.VerdictWrite{ID: storetest.NewID(t), FindingID: f, Verdict: d, Note: "looked at it", Reviewer: w.reviewer.ID})
	})
	return err
}

func (w *world) mustVerdict(t testing.TB, f uuid.UUID, d fieldtest.Decision) {
	t.Helper()
	if err := w.verdict(t, f, d); err != nil {
		t.Fatalf("AddVerdict(%s) = %v", d, err)
	}
}

func (w *world) states(t testing.TB, id uuid.UUID) []fieldtest.ReadingState {
	t.Helper()
	s, err := w.db.Session(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	var states []fieldtest.ReadingState
	for _, r := range s.Readings {
		states = append(states, r.State)
	}
	return states
}

// refusal fails unless err is a refusal of the kind.
func refusal(t testing.TB, err error, kind fieldtest.RefusalKind) *fieldtest.Refusal {
	t.Helper()
	r, ok := errors.AsType[*fieldtest.Refusal](err)
	if !ok || r.Kind != kind {
		t.Fatalf("error = %v, want a refusal %s", err, kind)
	}
	return r
}
