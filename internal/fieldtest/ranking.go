package fieldtest

import (
	"time"

	"github.com/google/uuid"
)

// A Ranking is one measure's list, with its ties stated.
type Ranking struct {
	Measure         string        `json:"measure"`
	Unit            string        `json:"unit"`
	Currency        string        `json:"currency,omitempty"` // of power-per-price
	Cover           *float64      `json:"cover,omitempty"`    // covered share of shade-retention
	SHA256          string        `json:"ranking_sha256"`
	ComputedThrough int64         `json:"computed_through"`
	ComputedAt      *time.Time    `json:"computed_at"` // nil: never
	Headline        string        `json:"headline"`
	Basis           ListBasis     `json:"basis,omitempty"`          // empty: nobody is ranked
	BasisSentence   string        `json:"basis_sentence,omitempty"` // what the basis means, and what the next tester would add
	LevelU          *float64      `json:"level_u"`                  // relative standard uncertainty of what all entries share; nil: no entries
	Model           *RankingModel `json:"model"`
	Entries         []Entry       `json:"entries"`
	Unranked        []Unranked    `json:"unranked"`
	Cautions        []Caution     `json:"cautions"`
}

// A ListBasis says on whose readings the order of a list rests.
type ListBasis string

// The bases of a list.
const (
	OneTester      ListBasis = "one_tester"      // a single tester's sessions
	FewTesters     ListBasis = "few_testers"     // two or three testers, or more of whom none was checked by two others
	CheckedTesters ListBasis = "checked_testers" // four testers or more, checked by each other
)

// A RankingModel says how a ranking was estimated. Standard deviations are on the
// logarithmic scale, so 0.02 reads as 2 %.
type RankingModel struct {
	Estimator      string   `json:"estimator"`
	Version        string   `json:"version"`
	SessionSD      *float64 `json:"session_sd"`
	TesterSD       *float64 `json:"tester_sd"`
	InteractionSD  *float64 `json:"interaction_sd"`
	CellSD         *float64 `json:"cell_sd"`
	ResidualSD     *float64 `json:"residual_sd"`
	SpecimenSD     *float64 `json:"specimen_sd"`
	SpecimenReason string   `json:"specimen_sd_reason,omitempty"`
	LogLikelihood  *float64 `json:"log_likelihood"`
	Q              *float64 `json:"q"`
	QDof           *float64 `json:"q_dof"`
	I2             *float64 `json:"i2"`
	Converged      bool     `json:"converged"`
	Iterations     int      `json:"iterations"`
	CriticalValue  *float64 `json:"critical_value"`
	Readings       int      `json:"readings"`
	Sessions       int      `json:"sessions"`
	Testers        int      `json:"testers"`
	Components     int      `json:"components"`
	Notes          []string `json:"notes,omitempty"` // for the operator
}

// An Entry is one panel model in a ranking.
type Entry struct {
	PanelModel   string    `json:"panel_model"`
	Rank         int       `json:"rank"`
	RankLo       int       `json:"rank_lo"`
	RankHi       int       `json:"rank_hi"`
	TieGroup     string    `json:"tie_group"`
	Estimate     float64   `json:"estimate"`
	EstimateU    float64   `json:"estimate_u"`
	EstimateLo   float64   `json:"estimate_lo"`
	EstimateHi   float64   `json:"estimate_hi"`
	PredictionLo *float64  `json:"prediction_lo"` // for a new unit read by a new tester
	PredictionHi *float64  `json:"prediction_hi"`
	Coverage     float64   `json:"coverage"`
	PScore       float64   `json:"p_score"`
	MaxShift     *MaxShift `json:"max_shift"`
	Testers      int       `json:"testers"`
	Sessions     int       `json:"sessions"`
	Readings     int       `json:"readings"`
	Component    int       `json:"component"`
	Sentence     string    `json:"sentence"`
	ContrastU    float64   `json:"contrast_u"`  // relative standard uncertainty against the mean of the list
	ContrastLo   float64   `json:"contrast_lo"` // the interval without what all entries share
	ContrastHi   float64   `json:"contrast_hi"`
	Best         *float64  `json:"best_probability"`  // that no other entry is better; nil in lists too long for it
	NextPair     *bool     `json:"told_apart_pair"`   // from the entry below, looked at alone; nil: the last
	NextFamily   *bool     `json:"told_apart_family"` // from the entry below, as one of all pairs of the list
}

// MaxShift is the largest change of an estimate when one tester is left out.
type MaxShift struct {
	TesterID uuid.UUID `json:"tester_id"`
	Relative float64   `json:"relative"`
}

// An Unranked panel model has results but no rank, with the reason and the cure.
type Unranked struct {
	PanelModel string   `json:"panel_model"`
	Reason     string   `json:"reason"`
	Needs      string   `json:"needs"`
	Estimate   *float64 `json:"estimate"`
	EstimateU  *float64 `json:"estimate_u"`
	Testers    int      `json:"testers"`
	Sessions   int      `json:"sessions"`
	Readings   int      `json:"readings"`
	Held       int      `json:"held_readings"` // that wait for a reviewer
}

// A Pair compares two panel models.
type Pair struct {
	A                  string   `json:"a"`
	B                  string   `json:"b"`
	Ratio              float64  `json:"ratio"`
	RatioLo            float64  `json:"ratio_lo"`
	RatioHi            float64  `json:"ratio_hi"`
	Coverage           float64  `json:"coverage"`
	ProbabilityABetter float64  `json:"probability_a_better"`
	ToldApart          bool     `json:"told_apart"`        // of two panels asked for the pair alone, of more the family
	ToldApartPair      bool     `json:"told_apart_pair"`   // looked at alone
	ToldApartFamily    bool     `json:"told_apart_family"` // as one of all pairs of the list, or of those asked for
	Basis              string   `json:"basis"`             // same_session, through_other_panels, same_tester, absolute_scale
	PathSessions       *int     `json:"path_sessions"`
	DirectRatio        *float64 `json:"direct_ratio"`
}

// A Comparison holds the pairs of some panel models on one measure.
type Comparison struct {
	Measure         string        `json:"measure"`
	ComputedThrough int64         `json:"computed_through"`
	Pairs           []Pair        `json:"pairs"`
	Energy          []PanelEnergy `json:"energy"` // a panel each, where a place and a day were named; else nil
	Cautions        []Caution     `json:"cautions"`
}

// A Contribution is one reading's part in a panel model's estimate.
type Contribution struct {
	SessionID    uuid.UUID `json:"session_id"`
	ReadingID    uuid.UUID `json:"reading_id"`
	TesterID     uuid.UUID `json:"tester_id"`
	Label        string    `json:"label"`
	TakenAt      time.Time `json:"taken_at"`
	StcPowerW    float64   `json:"stc_power_w"`
	StcPowerUW   float64   `json:"stc_power_u_w"`
	Weight       float64   `json:"weight"`        // share of the estimate's information, all add to 1
	RobustWeight float64   `json:"robust_weight"` // 1 unless bounded influence reduced it
}

// PanelResults holds a panel model's places in all rankings and what they rest on.
type PanelResults struct {
	PanelModel      string         `json:"panel_model"`
	ComputedThrough int64          `json:"computed_through"`
	Entries         []MeasureEntry `json:"entries"`
	Coefficients    *Coefficients  `json:"coefficients"` // nil: the readings say nothing of them
	Contributions   []Contribution `json:"contributions"`
	Findings        []Finding      `json:"findings"`
	Cautions        []Caution      `json:"cautions"`
}

// Coefficients are what the readings of a panel model say of its own behaviour beyond
// its nameplate and the usual low-light curve, with standard uncertainties.
type Coefficients struct {
	PerK   float64 `json:"temperature_per_k"` // 1/K, to be added to the temperature coefficient of power
	PerKU  float64 `json:"temperature_u_per_k"`
	Light  float64 `json:"low_light"` // of ln P at STC by ln(G/1000 W/m2)
	LightU float64 `json:"low_light_u"`
}

// A MeasureEntry is a panel model's place in one ranking, or why it has none.
type MeasureEntry struct {
	Measure  string    `json:"measure"`
	Unit     string    `json:"unit"`
	Entry    *Entry    `json:"entry"`
	Unranked *Unranked `json:"unranked"`
}
