package fieldtest

// A Use is what somebody wants of a panel.
type Use struct {
	Name    string `json:"use"`
	Measure string `json:"measure"`
	Title   string `json:"title"`
}

// Uses returns what panels are recommended for, in their fixed order.
func Uses() []Use {
	return []Use{
		{"most-power", StcPower, "the most watts"},
		{"lightest", PowerPerMass, "the most watts for its weight"},
		{"smallest-packed", PowerPerPackedVolume, "the most watts for its packed size"},
		{"cheapest-per-watt", PowerPerPrice, "the most watts for its price"},
		{"part-shade", ShadeRetention, "what it keeps in part shade"},
		{"flat-on-the-ground", FlatRetention, "what it keeps flat on the ground"},
		{"hot", Hot, "what it gives of its label in the heat"},
		{"weak-light", WeakLight, "its efficiency in weak light"},
	}
}

// UseNamed returns the use of that name.
func UseNamed(name string) (Use, bool) {
	for _, u := range Uses() {
		if u.Name == name {
			return u, true
		}
	}
	return Use{}, false
}

// A Recommendation names the panels that may be best for some uses.
type Recommendation struct {
	Uses            []WeightedUse `json:"uses"`
	ComputedThrough int64         `json:"computed_through"`
	Verdict         string        `json:"verdict"` // one, several or none
	Headline        string        `json:"headline"`
	Compared        int           `json:"compared"`   // panel models that have a figure for every use
	Candidates      []Candidate   `json:"candidates"` // that together hold the best with 95 %, the likeliest first
	Separates       []Separation  `json:"separates"`  // the first from each other candidate
	LeftOut         []LeftOut     `json:"left_out"`   // for want of a figure
	MeasureNext     string        `json:"measure_next,omitempty"`
	Cautions        []Caution     `json:"cautions"`
}

// A WeightedUse is a use with its share of what counts.
type WeightedUse struct {
	Use
	Weight   float64  `json:"weight"` // all add to 1
	Unit     string   `json:"unit"`
	Currency string   `json:"currency,omitempty"`
	Cover    *float64 `json:"cover,omitempty"`
}

// A Candidate is a panel model that may be best.
type Candidate struct {
	PanelModel  string      `json:"panel_model"`
	Probability float64     `json:"probability"` // that it is best of all compared
	Figures     []UseFigure `json:"figures"`     // by use
	Why         string      `json:"why"`
}

// A UseFigure is a panel's place by one use.
type UseFigure struct {
	Use     string  `json:"use"`
	Value   float64 `json:"value"`
	ValueLo float64 `json:"value_lo"`
	ValueHi float64 `json:"value_hi"`
	Rank    int     `json:"rank"`
	RankLo  int     `json:"rank_lo"`
	RankHi  int     `json:"rank_hi"`
}

// A Separation is what tells the first candidate from another.
type Separation struct {
	A                  string  `json:"a"`
	B                  string  `json:"b"`
	Ratio              float64 `json:"ratio"` // of what counts, weighted
	RatioLo            float64 `json:"ratio_lo"`
	RatioHi            float64 `json:"ratio_hi"`
	Coverage           float64 `json:"coverage"`
	ProbabilityABetter float64 `json:"probability_a_better"`
	Most               string  `json:"most"` // the use that makes most of the difference
	Sentence           string  `json:"sentence"`
}

// A LeftOut is a panel model that cannot be compared by all uses.
type LeftOut struct {
	PanelModel string `json:"panel_model"`
	Use        string `json:"use"` // the first that it has no figure for
	Reason     string `json:"reason"`
	Needs      string `json:"needs"`
}
