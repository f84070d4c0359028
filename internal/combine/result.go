package combine

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
)

// A Result is what the table says, as it is written.
type Result struct {
	Fixed         []Estimate `json:"fixed"`     // in the byte order of panels
	Contrasts     []Contrast `json:"contrasts"` // of every other panel to the reference
	Variances     Variances  `json:"variances"`
	LogLikelihood Number     `json:"log_likelihood"` // in the convention of lme4
	Q             Number     `json:"q"`              // null without known variances, as q_dof and i2
	QDof          *int       `json:"q_dof"`
	I2            Number     `json:"i2"`
	Rank          []Rank     `json:"rank"` // from the best panel
	Converged     bool       `json:"converged"`
	Iterations    int        `json:"iterations"`
	Notes         []string   `json:"notes,omitempty"`
}

// An Estimate is the level of one panel; with fixed sessions it is the difference
// to the reference, which is 0.
type Estimate struct {
	Panel         string `json:"panel"`
	Estimate      Number `json:"estimate"`
	StandardError Number `json:"standard_error"`
}

// A Contrast is the difference of a panel to the reference.
type Contrast struct {
	Panel         string `json:"panel"`
	Reference     string `json:"reference"`
	Estimate      Number `json:"estimate"`
	StandardError Number `json:"standard_error"`
	PValue        Number `json:"p_value"` // two-sided, unadjusted
	PValueHolm    Number `json:"p_value_holm"`
	Dof           Number `json:"dof"` // Satterthwaite's, 1e6 where all variances are known
}

// A Rank is where a panel stands.
type Rank struct {
	Panel    string `json:"panel"`
	Part     int    `json:"part,omitempty"` // from 1, the largest first; absent where all panels are joined
	Rank     int    `json:"rank"`           // among the panels of the part
	RankLo   int    `json:"rank_lo"`        // simultaneous 95 % interval
	RankHi   int    `json:"rank_hi"`
	PScore   Number `json:"p_score"`
	TieGroup string `json:"tie_group"`
}

// A Number is written with 12 significant digits, which hide the last bits in
// which machines differ, and as null where it has no value.
type Number float64

// MarshalJSON returns the number as JSON.
func (n Number) MarshalJSON() ([]byte, error) {
	x := float64(n)
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return []byte("null"), nil
	}
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 12, 64), 64)
	if err != nil {
		return nil, fmt.Errorf("round %v: %w", x, err)
	}
	return json.Marshal(rounded)
}

// UnmarshalJSON reads a number, null as NaN.
func (n *Number) UnmarshalJSON(text []byte) error {
	var x *float64
	if err := json.Unmarshal(text, &x); err != nil {
		return fmt.Errorf("read number: %w", err)
	}
	*n = Number(math.NaN())
	if x != nil {
		*n = Number(*x)
	}
	return nil
}

// A Variance is the estimate of one random term.
type Variance struct {
	Term  string
	Value Number
}

// Variances are written as one object, in the order of the terms.
type Variances []Variance

// MarshalJSON returns the object.
func (v Variances) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, one := range v {
		name, err := json.Marshal(one.Term)
		if err != nil {
			return nil, fmt.Errorf("write term: %w", err)
		}
		value, err := one.Value.MarshalJSON()
		if err != nil {
			return nil, err
		}
		if i > 0 {
			b.WriteByte(',')
		}
		b.Write(name)
		b.WriteByte(':')
		b.Write(value)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// UnmarshalJSON reads the object, its order kept.
func (v *Variances) UnmarshalJSON(text []byte) error {
	d := json.NewDecoder(bytes.NewReader(text))
	if _, err := d.Token(); err != nil {
		return fmt.Errorf("read variances: %w", err)
	}
	*v = nil
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return fmt.Errorf("read term: %w", err)
		}
		one := Variance{Term: fmt.Sprint(name)}
		if err := d.Decode(&one.Value); err != nil {
			return fmt.Errorf("read variance of %s: %w", one.Term, err)
		}
		*v = append(*v, one)
	}
	return nil
}
