package fieldtest

import (
	"time"

	"github.com/google/uuid"
)

// A Nameplate is what the maker states at standard test conditions: 1000 W/m2,
// cells at 25 C, spectrum AM1.5G. Temperature coefficients are relative, 1/K, signed.
type Nameplate struct {
	PmaxW                *float64    `json:"pmax_w"`
	VocV                 *float64    `json:"voc_v"`
	IscA                 *float64    `json:"isc_a"`
	VmpV                 *float64    `json:"vmp_v"`
	ImpA                 *float64    `json:"imp_a"`
	Tolerance            *[2]float64 `json:"tolerance"` // lower and upper share of Pmax, as -0.03 and 0.05
	GammaPmaxPerK        *float64    `json:"gamma_pmax_per_k"`
	BetaVocPerK          *float64    `json:"beta_voc_per_k"`
	AlphaIscPerK         *float64    `json:"alpha_isc_per_k"`
	GammaPmaxPercentPerK *float64    `json:"gamma_pmax_percent_per_k,omitempty"` // as data sheets print it; instead of the one above
	BetaVocPercentPerK   *float64    `json:"beta_voc_percent_per_k,omitempty"`
	AlphaIscPercentPerK  *float64    `json:"alpha_isc_percent_per_k,omitempty"`
	CellsInSeries        *int        `json:"cells_in_series"`
	NOCTC                *float64    `json:"noct_c"`
}

// Canonical returns the nameplate with coefficients per kelvin and with the rated
// power Vmp times Imp where the maker states only those two.
func (n Nameplate) Canonical() Nameplate {
	n.GammaPmaxPerK, n.GammaPmaxPercentPerK = perKelvin(n.GammaPmaxPerK, n.GammaPmaxPercentPerK), nil
	n.BetaVocPerK, n.BetaVocPercentPerK = perKelvin(n.BetaVocPerK, n.BetaVocPercentPerK), nil
	n.AlphaIscPerK, n.AlphaIscPercentPerK = perKelvin(n.AlphaIscPerK, n.AlphaIscPercentPerK), nil
	if n.PmaxW == nil && n.VmpV != nil && n.ImpA != nil {
		p := *n.VmpV * *n.ImpA
		n.PmaxW = &p
	}
	return n
}

func perKelvin(share, percent *float64) *float64 {
	if share != nil || percent == nil {
		return share
	}
	x := *percent / 100
	return &x
}

// Construction says how a panel is built.
type Construction struct {
	Technology    Technology `json:"technology,omitempty"`
	Front         Front      `json:"front,omitempty"`
	Sections      *int       `json:"sections"`
	WiringClaimed string     `json:"wiring_claimed,omitempty"` // series, series_bypass, parallel, two_strings, unknown
	Bifaciality   *float64   `json:"bifaciality"`              // rear over front short-circuit current
	Mount         Mount      `json:"mount,omitempty"`
}

// Size holds what merit figures divide by.
type Size struct {
	MassKg        *float64 `json:"mass_kg"` // as carried: with pouch and fixed leads, without controller
	PanelAreaM2   *float64 `json:"panel_area_m2"`
	CellAreaM2    *float64 `json:"cell_area_m2"`
	FoldedVolumeL *float64 `json:"folded_volume_l"`
}

// A PanelModel is a make and model, addressed by its slug.
type PanelModel struct {
	Slug         string       `json:"slug"`
	Maker        string       `json:"maker"`
	Model        string       `json:"model"`
	Nameplate    Nameplate    `json:"nameplate"`
	Construction Construction `json:"construction"`
	Size         Size         `json:"size"`
}

// A StoredPanelModel is a panel model with what the service knows about the record.
type StoredPanelModel struct {
	PanelModel
	ID        uuid.UUID `json:"id"`
	Revision  int       `json:"revision"`
	Reason    string    `json:"reason"` // why this revision was made; empty for the first
	CreatedBy uuid.UUID `json:"created_by"`
	CreatedAt time.Time `json:"created_at"`
	UpdatedAt time.Time `json:"updated_at"`
	Sequence  int64     `json:"sequence"`
	Cautions  []Caution `json:"cautions,omitempty"` // of one model; left out of lists
}

// A Price is what a panel model cost somewhere on a day. Money is exact, so the
// amount is decimal text.
type Price struct {
	Amount    string `json:"amount"`
	Currency  string `json:"currency"`         // ISO 4217
	Date      string `json:"date"`             // YYYY-MM-DD
	Region    string `json:"region,omitempty"` // ISO 3166-1 alpha-2
	Condition string `json:"condition"`        // new, used, refurbished
}

// A StoredPrice is a price with its record.
type StoredPrice struct {
	Price
	ID         uuid.UUID `json:"id"`
	PanelModel string    `json:"panel_model"`
	TesterID   uuid.UUID `json:"tester_id"`
	CreatedAt  time.Time `json:"created_at"`
	Sequence   int64     `json:"sequence"`
}
