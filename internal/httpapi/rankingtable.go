package httpapi

import "evensun/internal/fieldtest"

// A rankingTableRow is a panel model of a ranking with what the whole ranking has in
// common. Those without a rank have a reason and what would give them one instead.
type rankingTableRow struct {
	Measure         string   `json:"measure"`
	Unit            string   `json:"unit"`
	Currency        string   `json:"currency"`
	Cover           *float64 `json:"cover"`
	ComputedThrough int64    `json:"computed_through"`

	PanelModel   string              `json:"panel_model"`
	Rank         *int                `json:"rank"`
	RankLo       *int                `json:"rank_lo"`
	RankHi       *int                `json:"rank_hi"`
	TieGroup     *string             `json:"tie_group"`
	Estimate     *float64            `json:"estimate"`
	EstimateU    *float64            `json:"estimate_u"`
	EstimateLo   *float64            `json:"estimate_lo"`
	EstimateHi   *float64            `json:"estimate_hi"`
	PredictionLo *float64            `json:"prediction_lo"`
	PredictionHi *float64            `json:"prediction_hi"`
	Coverage     *float64            `json:"coverage"`
	PScore       *float64            `json:"p_score"`
	MaxShift     *fieldtest.MaxShift `json:"max_shift"`
	Testers      int                 `json:"testers"`
	Sessions     int                 `json:"sessions"`
	Readings     int                 `json:"readings"`
	Component    *int                `json:"component"`
	Sentence     *string             `json:"sentence"`
	ContrastU    *float64            `json:"contrast_u"`
	ContrastLo   *float64            `json:"contrast_lo"`
	ContrastHi   *float64            `json:"contrast_hi"`
	Best         *float64            `json:"best_probability"`
	NextPair     *bool               `json:"told_apart_pair"`
	NextFamily   *bool               `json:"told_apart_family"`

	Basis  fieldtest.ListBasis `json:"basis"`
	LevelU *float64            `json:"level_u"`
	Reason string              `json:"reason"`
	Needs  string              `json:"needs"`
	Held   *int                `json:"held_readings"`
}

// rankingTable returns the rows of a ranking: by rank, then those without one.
func rankingTable(r *fieldtest.Ranking) []rankingTableRow {
	rows := make([]rankingTableRow, 0, len(r.Entries)+len(r.Unranked))
	common := rankingTableRow{Measure: r.Measure, Unit: r.Unit, Currency: r.Currency, Cover: r.Cover, ComputedThrough: r.ComputedThrough,
		Basis: r.Basis, LevelU: r.LevelU}
	for i := range r.Entries {
		e, row := &r.Entries[i], common
		row.PanelModel, row.Rank, row.RankLo, row.RankHi, row.TieGroup = e.PanelModel, &e.Rank, &e.RankLo, &e.RankHi, &e.TieGroup
		row.Estimate, row.EstimateU, row.EstimateLo, row.EstimateHi = &e.Estimate, &e.EstimateU, &e.EstimateLo, &e.EstimateHi
		row.PredictionLo, row.PredictionHi, row.Coverage, row.PScore, row.MaxShift = e.PredictionLo, e.PredictionHi, &e.Coverage, &e.PScore, e.MaxShift
		row.Testers, row.Sessions, row.Readings, row.Component, row.Sentence = e.Testers, e.Sessions, e.Readings, &e.Component, &e.Sentence
		row.ContrastU, row.ContrastLo, row.ContrastHi, row.Best = &e.ContrastU, &e.ContrastLo, &e.ContrastHi, e.Best
		row.NextPair, row.NextFamily = e.NextPair, e.NextFamily
		rows = append(rows, row)
	}
	for i := range r.Unranked {
		u, row := &r.Unranked[i], common
		row.PanelModel, row.Estimate, row.EstimateU, row.Testers, row.Sessions, row.Readings = u.PanelModel, u.Estimate, u.EstimateU, u.Testers, u.Sessions, u.Readings
		row.Reason, row.Needs, row.Held = u.Reason, u.Needs, &u.Held
		rows = append(rows, row)
	}
	return rows
}
