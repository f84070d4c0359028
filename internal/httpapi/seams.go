package httpapi

import (
	"context"
	"time"

	"evensun/internal/audit"
	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/ledger"
	"evensun/internal/ranking"
	"evensun/internal/store"

	"github.com/google/uuid"
)

// A Store is what handlers read, and the one way to write. *store.DB is one.
type Store interface {
	SnapshotStore
	Write(ctx context.Context, idem store.Idempotency, dryRun bool, do func(ctx context.Context, tx *store.Tx) (store.Response, error)) (store.Response, bool, error)

	Tester(ctx context.Context, id uuid.UUID) (fieldtest.Tester, error)
	Testers(ctx context.Context, p store.Page) ([]fieldtest.Tester, *store.Cursor, int64, error)
	FindKey(ctx context.Context, id string) (store.FoundKey, error)
	Keys(ctx context.Context, testerID uuid.UUID) ([]fieldtest.Key, error)
	UsedKey(ctx context.Context, id string, day time.Time) error

	PanelModel(ctx context.Context, slug string) (fieldtest.StoredPanelModel, error)
	PanelModelRevision(ctx context.Context, slug string, revision int) (fieldtest.StoredPanelModel, error)
	PanelModels(ctx context.Context, f store.PanelModelFilter, p store.Page) ([]fieldtest.StoredPanelModel, *store.Cursor, int64, error)
	Prices(ctx context.Context, slug string) ([]fieldtest.StoredPrice, error)

	Rig(ctx context.Context, id uuid.UUID) (fieldtest.StoredRig, error)
	RigRevision(ctx context.Context, id uuid.UUID, revision int) (fieldtest.StoredRig, error)
	RigNamed(ctx context.Context, testerID uuid.UUID, name string) (uuid.UUID, error)
	Rigs(ctx context.Context, f store.RigFilter, p store.Page) ([]fieldtest.StoredRig, *store.Cursor, int64, error)

	Session(ctx context.Context, id uuid.UUID) (fieldtest.StoredSession, error)
	SessionRevision(ctx context.Context, id uuid.UUID, revision int) (fieldtest.StoredSession, error)
	Sessions(ctx context.Context, f store.SessionFilter, p store.Page) ([]fieldtest.SessionSummary, *store.Cursor, int64, error)
	SessionKnownBy(ctx context.Context, testerID uuid.UUID, clientRef, sha256 string) (uuid.UUID, error)
	Reading(ctx context.Context, id uuid.UUID) (store.StoredReading, error)
	Readings(ctx context.Context, f store.ReadingFilter, p store.Page) ([]store.FlatReading, *store.Cursor, int64, error)

	Finding(ctx context.Context, id uuid.UUID) (fieldtest.Finding, error)
	Findings(ctx context.Context, f store.FindingFilter, p store.Page) ([]fieldtest.Finding, *store.Cursor, int64, error)

	Ledger(ctx context.Context, after int64, limit int) ([]ledger.Entry, error)
	LedgerHead(ctx context.Context) (ledger.Head, error)

	Ranking(ctx context.Context, measure, key string) (store.RankingRow, error)
	Rankings(ctx context.Context) ([]store.RankingRow, error)
	ComputedThrough(ctx context.Context, measure, key string) (int64, error)
}

// An Intake judges what is submitted and stores it. Every refusal is a
// *fieldtest.Refusal. Bodies have passed package contract.
type Intake interface {
	Submit(ctx context.Context, who fieldtest.Caller, s fieldtest.Session, o intake.SubmitOptions) (store.Response, bool, error)
	Revise(ctx context.Context, who fieldtest.Caller, id uuid.UUID, ifRevision int, why intake.Reason, s fieldtest.Session, o intake.SubmitOptions) (store.Response, bool, error)
	Withdraw(ctx context.Context, who fieldtest.Caller, id uuid.UUID, ifRevision int, why intake.Reason, o intake.SubmitOptions) (store.Response, bool, error)
	Restore(ctx context.Context, who fieldtest.Caller, id uuid.UUID, ifRevision int, why intake.Reason, o intake.SubmitOptions) (store.Response, bool, error)
	Verdict(ctx context.Context, who fieldtest.Caller, finding uuid.UUID, v fieldtest.Decision, note string, o intake.SubmitOptions) (store.Response, bool, error)
	Derivation(ctx context.Context, reading uuid.UUID) ([]fieldtest.Step, error)
	Cautions(ctx context.Context, kept *fieldtest.StoredSession) ([]fieldtest.Caution, error)
	CreateRig(ctx context.Context, who fieldtest.Caller, r fieldtest.Rig, o intake.SubmitOptions) (store.Response, bool, error)
	UpdateRig(ctx context.Context, who fieldtest.Caller, id uuid.UUID, ifRevision int, r fieldtest.Rig, o intake.SubmitOptions) (store.Response, bool, error)
	CreatePanelModel(ctx context.Context, who fieldtest.Caller, m fieldtest.PanelModel, o intake.SubmitOptions) (store.Response, bool, error)
	UpdatePanelModel(ctx context.Context, who fieldtest.Caller, slug string, ifRevision int, why string, m fieldtest.PanelModel, o intake.SubmitOptions) (store.Response, bool, error)
}

// A Comparer compares panel models pair by pair. An empty currency means the one that
// most panel models have a price in.
type Comparer interface {
	Compare(ctx context.Context, measure, currency string, models []string) (fieldtest.Comparison, error)
}

// An Agreer says how a tester's readings agree with those of all others.
type Agreer interface {
	Agreement(ctx context.Context, tester uuid.UUID) (audit.Agreement, error)
}

// A Resulter tells a panel model's places and what they rest on.
type Resulter interface {
	PanelResults(ctx context.Context, slug string) (fieldtest.PanelResults, error)
	// Conclusions are what all testers' readings of a panel model mean.
	Conclusions(ctx context.Context, m *fieldtest.PanelModel) (fieldtest.Conclusions, error)
}

// A Suggester says what to measure next. No models means all.
type Suggester interface {
	Suggest(ctx context.Context, latitudeDeg, longitudeDeg float64, models []string) (Suggestions, error)
}

// A Recommender names the panels that may be best for a wish.
type Recommender interface {
	Recommend(ctx context.Context, wish ranking.Wish) (fieldtest.Recommendation, error)
}

// A Refitter computes a ranking of a part of the data, or returns one that it
// computed before from the same.
type Refitter interface {
	Refit(ctx context.Context, q RefitQuery) (store.RankingRow, error)
}

// A RefitQuery says which readings a ranking is made of.
type RefitQuery struct {
	Measure     fieldtest.Measure
	Key         string     // currency or cover class; empty: the default
	From, To    *time.Time // taken at or after, before
	RigKinds    []string
	Metered     bool // only readings with an irradiance meter in the plane
	Near        *store.Near
	PanelModels []string
	Component   int // 0: the largest
	MinTesters  int // needed for a rank, if more than usual
}
