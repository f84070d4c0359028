package ranking

import (
	"bytes"
	"cmp"
	"slices"
	"sort"
	"strings"
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
)

// An Observation is a normalised reading with what it belongs to.
type Observation struct {
	ReadingID     uuid.UUID
	SessionID     uuid.UUID
	Revision      int    // of the session
	ContentSHA256 string // of the session
	TesterID      uuid.UUID
	RigID         uuid.UUID
	RigRevision   int
	RigKind       fieldtest.RigKind
	Panel         string // slug
	Specimen      string
	Label         string
	TakenAt       time.Time
	LatitudeDeg   float64
	LongitudeDeg  float64
	Arrangement   fieldtest.Arrangement
	Kind          fieldtest.Kind
	State         fieldtest.ReadingState
	Result        *fieldtest.Result // nil: none
}

// metered tells whether a light meter gave the irradiance.
func (o *Observation) metered() bool {
	return o.Result != nil && o.Result.IrradianceOrigin != fieldtest.OriginClearSky
}

// A Panel is what a panel model's figures are made with. A nil pointer is unknown.
type Panel struct {
	Slug          string
	Revision      int
	PmaxW         *float64
	MassKg        *float64
	CellAreaM2    *float64
	PanelAreaM2   *float64
	FoldedVolumeL *float64
	GammaPerK     *float64 // of power, by the nameplate, 1/K
	Technology    fieldtest.Technology
	Prices        []fieldtest.Price
}

// A Keep is a reviewer's word that an effect which looks odd is right: its weight
// stays 1.
type Keep struct {
	Level     string // tester:panel, session:panel, session
	TesterID  uuid.UUID
	SessionID uuid.UUID
	Panel     string
	Dataset   string // of the fit that showed the effect; empty: every one that has it
}

// Inputs are all that a ranking is computed from.
type Inputs struct {
	Observations []Observation
	Panels       []Panel
	Keeps        []Keep
	Linked       map[uuid.UUID]uuid.UUID // testers that a reviewer found to be one
	Through      int64                   // ledger sequence that the inputs cover
	At           time.Time
	Rules        Rules
}

// CountsAs returns the tester that a tester counts as: himself, unless a reviewer found
// him to be the same as another.
func (in *Inputs) CountsAs(tester uuid.UUID) uuid.UUID {
	if other, ok := in.Linked[tester]; ok {
		return other
	}
	return tester
}

func (in *Inputs) bySlug() map[string]*Panel {
	panels := make(map[string]*Panel, len(in.Panels))
	for i := range in.Panels {
		panels[in.Panels[i].Slug] = &in.Panels[i]
	}
	return panels
}

// order brings panels and verdicts into one order, on copies: hash and seed must not
// depend on how a database sorts text.
func (in *Inputs) order() {
	in.Panels, in.Keeps = slices.Clone(in.Panels), slices.Clone(in.Keeps)
	slices.SortFunc(in.Panels, func(a, b Panel) int { return strings.Compare(a.Slug, b.Slug) })
	slices.SortFunc(in.Keeps, func(a, b Keep) int {
		return cmp.Or(strings.Compare(a.Level, b.Level), bytes.Compare(a.TesterID[:], b.TesterID[:]), bytes.Compare(a.SessionID[:], b.SessionID[:]), strings.Compare(a.Panel, b.Panel),
			strings.Compare(a.Dataset, b.Dataset))
	})
}

// sorted brings observations into the one order that every sum is taken in.
func sorted(list []Observation) []Observation {
	out := append([]Observation(nil), list...)
	sort.Slice(out, func(i, j int) bool { return less(&out[i], &out[j]) })
	return out
}

func less(a, b *Observation) bool {
	if c := bytes.Compare(a.TesterID[:], b.TesterID[:]); c != 0 {
		return c < 0
	}
	if c := bytes.Compare(a.SessionID[:], b.SessionID[:]); c != 0 {
		return c < 0
	}
	if a.Panel != b.Panel {
		return a.Panel < b.Panel
	}
	return bytes.Compare(a.ReadingID[:], b.ReadingID[:]) < 0
}

// Rules hold the conditions of a rank. All are common practice, no source.
type Rules struct {
	MinTesters           int     `json:"min_testers"`
	MinSessions          int     `json:"min_sessions"`
	MinReadings          int     `json:"min_readings"`
	MaxHalfWidth         float64 `json:"max_half_width"`         // of the 95 % interval of ln(figure) against the mean of the list
	CheckedTesters       int     `json:"checked_testers"`        // from so many on, all others weigh together as one
	MaxU                 float64 `json:"max_u"`                  // relative uncertainty of a usable reading
	MeteredTesters       int     `json:"metered_testers"`        // from so many the level rests on meters
	CapSessions          int     `json:"cap_sessions"`           // of a tester, for the variances
	ShareBound           float64 `json:"share_bound"`            // of one tester on one panel
	AnchoredAfter        int     `json:"anchored_after"`         // sessions shared with others before a tester counts
	FreeSessionVariance  float64 `json:"free_session_variance"`  // of an unmetered session once meters give the level
	UMassKg              float64 `json:"u_mass_kg"`              // standard uncertainties of the divisors
	UCellAreaRelative    float64 `json:"u_cell_area_relative"`   //
	UPanelAreaRelative   float64 `json:"u_panel_area_relative"`  //
	LeastRetention       float64 `json:"least_retention"`        // a smaller one counts as this
	ConfidenceOfInterval float64 `json:"confidence_of_interval"` //
}

// DefaultRules returns the conditions in force without an override.
func DefaultRules() Rules {
	return Rules{
		MinTesters: 2, MinSessions: 2, MinReadings: 3, MaxHalfWidth: 0.25, MaxU: 0.20,
		MeteredTesters: 3, CapSessions: 20, ShareBound: 0.5, AnchoredAfter: 2, CheckedTesters: 3, FreeSessionVariance: 100,
		UMassKg: 0.05, UCellAreaRelative: 0.01, UPanelAreaRelative: 0.005, LeastRetention: 0.02, ConfidenceOfInterval: 0.95,
	}
}
