package httpapi

import (
	"context"
	"time"

	"evensun/internal/accounts"
	"evensun/internal/audit"
	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/ledger"
	"evensun/internal/ranking"
	"evensun/internal/store"

	"github.com/google/uuid"
)

// A Store is what handlers read, by what they read. *store.DB is one.
type Store interface {
	TesterStore
	KeyStore
	PanelModelStore
	RigStore
	SessionStore
	ReadingStore
	FindingStore
	LedgerStore
	RankingStore
	SnapshotStore
}

// A TesterStore is where testers are read.
type TesterStore interface {
	Tester(ctx context.Context, id uuid.UUID) (fieldtest.Tester, error)
	Testers(ctx context.Context, p store.Page) ([]fieldtest.Tester, *store.Cursor, int64, error)
}

// A KeyStore is where keys are read, and the day of their use is noted.
type KeyStore interface {
	FindKey(ctx context.Context, id string) (store.FoundKey, error)
	Keys(ctx context.Context, testerID uuid.UUID) ([]fieldtest.Key, error)
	UsedKey(ctx context.Context, id string, day time.Time) error
}

// A PanelModelStore is where panel models and their prices are read.
type PanelModelStore interface {
	PanelModel(ctx context.Context, slug string) (fieldtest.StoredPanelModel, error)
	PanelModelRevision(ctx context.Context, slug string, revision int) (fieldtest.StoredPanelModel, error)
	PanelModels(ctx context.Context, f store.PanelModelFilter, p store.Page) ([]fieldtest.StoredPanelModel, *store.Cursor, int64, error)
	Prices(ctx context.Context, slug string) ([]fieldtest.StoredPrice, error)
}

// A RigStore is where rigs are read.
type RigStore interface {
	Rig(ctx context.Context, id uuid.UUID) (fieldtest.StoredRig, error)
	RigRevision(ctx context.Context, id uuid.UUID, revision int) (fieldtest.StoredRig, error)
	RigNamed(ctx context.Context, testerID uuid.UUID, name string) (uuid.UUID, error)
	Rigs(ctx context.Context, f store.RigFilter, p store.Page) ([]fieldtest.StoredRig, *store.Cursor, int64, error)
}

// A SessionStore is where sessions are read.
type SessionStore interface {
	Session(ctx context.Context, id uuid.UUID) (fieldtest.StoredSession, error)
	SessionRevision(ctx context.Context, id uuid.UUID, revision int) (fieldtest.StoredSession, error)
	Sessions(ctx context.Context, f store.SessionFilter, p store.Page) ([]fieldtest.SessionSummary, *store.Cursor, int64, error)
	SessionKnownBy(ctx context.Context, testerID uuid.UUID, clientRef, sha256 string) (uuid.UUID, error)
}

// A ReadingStore is where readings are read.
type ReadingStore interface {
	Reading(ctx context.Context, id uuid.UUID) (store.StoredReading, error)
	Readings(ctx context.Context, f store.ReadingFilter, p store.Page) ([]store.FlatReading, *store.Cursor, int64, error)
}

// A FindingStore is where findings are read.
type FindingStore interface {
	Finding(ctx context.Context, id uuid.UUID) (fieldtest.Finding, error)
	Findings(ctx context.Context, f store.FindingFilter, p store.Page) ([]fieldtest.Finding, *store.Cursor, int64, error)
}

// A LedgerStore is where the ledger is read.
type LedgerStore interface {
	Ledger(ctx context.Context, after int64, limit int) ([]ledger.Entry, error)
	LedgerHead(ctx context.Context) (ledger.Head, error)
}

// A RankingStore is where published rankings are read.
type RankingStore interface {
	Ranking(ctx context.Context, measure, key string) (store.RankingRow, error)
	ComputedThrough(ctx context.Context, measure, key string) (int64, error)
}

// An Intake judges what is submitted and stores it. Every refusal is a
// *fieldtest.Refusal. Bodies have passed package contract. *intake.Service is one.
type Intake interface {
	SessionIntake
	RigIntake
	PanelModelIntake
	Explainer
	Verdict(ctx context.Context, who fieldtest.Caller, finding uuid.UUID, v fieldtest.Decision, note string, o intake.SubmitOptions) (store.Response, bool, error)
}

// A SessionIntake takes sessions.
type SessionIntake interface {
	Submit(ctx context.Context, who fieldtest.Caller, s fieldtest.Session, o intake.SubmitOptions) (store.Response, bool, error)
	Revise(ctx context.Context, who fieldtest.Caller, id uuid.UUID, ifRevision int, why intake.Reason, s fieldtest.Session, o intake.SubmitOptions) (store.Response, bool, error)
	Withdraw(ctx context.Context, who fieldtest.Caller, id uuid.UUID, ifRevision int, why intake.Reason, o intake.SubmitOptions) (store.Response, bool, error)
	Restore(ctx context.Context, who fieldtest.Caller, id uuid.UUID, ifRevision int, why intake.Reason, o intake.SubmitOptions) (store.Response, bool, error)
}

// A RigIntake takes rigs.
type RigIntake interface {
	CreateRig(ctx context.Context, who fieldtest.Caller, r fieldtest.Rig, o intake.SubmitOptions) (store.Response, bool, error)
	UpdateRig(ctx context.Context, who fieldtest.Caller, id uuid.UUID, ifRevision int, r fieldtest.Rig, o intake.SubmitOptions) (store.Response, bool, error)
}

// A PanelModelIntake takes panel models.
type PanelModelIntake interface {
	CreatePanelModel(ctx context.Context, who fieldtest.Caller, m fieldtest.PanelModel, o intake.SubmitOptions) (store.Response, bool, error)
	UpdatePanelModel(ctx context.Context, who fieldtest.Caller, slug string, ifRevision int, why string, m fieldtest.PanelModel, o intake.SubmitOptions) (store.Response, bool, error)
}

// An Explainer tells of what is stored what is not stored with it.
type Explainer interface {
	Derivation(ctx context.Context, reading uuid.UUID) ([]fieldtest.Step, error)
	Cautions(ctx context.Context, kept *fieldtest.StoredSession) ([]fieldtest.Caution, error)
}

// Accounts decides who takes part. *accounts.Service is one.
type Accounts interface {
	KeyAccounts
	Register(ctx context.Context, who fieldtest.Caller, a accounts.Application, o accounts.Options) (store.Response, bool, error)
	SetTrust(ctx context.Context, who fieldtest.Caller, id uuid.UUID, t accounts.Trust, o accounts.Options) (store.Response, bool, error)
	AddPrice(ctx context.Context, who fieldtest.Caller, slug string, p fieldtest.Price, o accounts.Options) (store.Response, bool, error)
}

// KeyAccounts decides about keys.
type KeyAccounts interface {
	CreateKey(ctx context.Context, who fieldtest.Caller, r accounts.KeyRequest, o accounts.Options) (store.Response, bool, error)
	RevokeKey(ctx context.Context, who fieldtest.Caller, id string, andMade bool) (store.Response, bool, error)
	RevokeKeys(ctx context.Context, who fieldtest.Caller, tester *uuid.UUID) (store.Response, bool, error)
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
