package snapshot

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"strconv"

	"github.com/google/uuid"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

// The names of a snapshot's files.
const (
	RankingsJSON  = "rankings.json"
	RankingsCSV   = "rankings.csv"
	FitsJSON      = "fits.json"
	SessionsJSONL = "sessions.jsonl"
	InputsJSONL   = "inputs.jsonl"
	ReadingsJSONL = "readings.jsonl"
)

const (
	jsonType  = "application/json"
	jsonlType = "application/x-ndjson"
	csvType   = "text/csv; charset=utf-8; header=present"
)

// A File is one of a snapshot's.
type File struct {
	FileInfo
	Content []byte
}

// A Listed is one ranking in rankings.json, with all keys under which it is asked for.
type Listed struct {
	Measure string            `json:"measure"`
	Keys    []string          `json:"keys"`
	Ranking fieldtest.Ranking `json:"ranking"`
}

// listed rounds all rankings and leaves out those that have no JSON form.
func listed(out *ranking.Output) (lists []Listed, failed []Failed) {
	lists = []Listed{}
	for i := range out.Lists {
		l := Listed{Measure: out.Lists[i].Measure, Keys: out.Keys(i), Ranking: roundedRanking(out.Lists[i].Ranking)}
		if _, err := json.Marshal(&l.Ranking); err != nil {
			failed = append(failed, Failed{Dataset: l.Measure + " " + l.Keys[0], Reason: err.Error()})
			continue
		}
		lists = append(lists, l)
	}
	return lists, failed
}

func encodeRankings(lists []Listed) ([]byte, error) {
	return json.Marshal(struct {
		Rankings []Listed `json:"rankings"`
	}{lists})
}

// RankingOf finds the ranking of a measure and key in the content of rankings.json and
// returns its JSON. An unknown one is a *fieldtest.Refusal.
func RankingOf(content []byte, measure, key string) ([]byte, error) {
	var f struct {
		Rankings []struct {
			Measure string          `json:"measure"`
			Keys    []string        `json:"keys"`
			Ranking json.RawMessage `json:"ranking"`
		} `json:"rankings"`
	}
	if err := json.Unmarshal(content, &f); err != nil {
		return nil, fmt.Errorf("rankings of a snapshot: %w", err)
	}
	for _, l := range f.Rankings {
		if l.Measure != measure {
			continue
		}
		for _, k := range l.Keys {
			if k == key {
				return l.Ranking, nil
			}
		}
	}
	return nil, fieldtest.Missing("ranking in this snapshot", measure+" "+key)
}

// columns of rankings.csv. A panel model without a rank has a reason instead.
func columns() []string {
	return []string{"measure", "key", "unit", "component", "panel_model", "rank", "rank_lo", "rank_hi", "tie_group", "estimate", "estimate_u",
		"estimate_lo", "estimate_hi", "coverage", "prediction_lo", "prediction_hi", "p_score", "testers", "sessions", "readings",
		"unranked_reason", "unranked_needs", "ranking_sha256"}
}

// encodeCSV writes all rankings as one table, each under its first key.
func encodeCSV(lists []Listed) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	rows := [][]string{columns()}
	for i := range lists {
		rows = append(rows, csvRows(&lists[i])...)
	}
	if err := w.WriteAll(rows); err != nil {
		return nil, fmt.Errorf("rankings as CSV: %w", err)
	}
	return b.Bytes(), nil
}

func csvRows(l *Listed) [][]string {
	if len(l.Keys) == 0 {
		return nil
	}
	var rows [][]string
	r := &l.Ranking
	for i := range r.Entries {
		e := &r.Entries[i]
		rows = append(rows, []string{l.Measure, l.Keys[0], r.Unit, strconv.Itoa(e.Component), e.PanelModel,
			strconv.Itoa(e.Rank), strconv.Itoa(e.RankLo), strconv.Itoa(e.RankHi), e.TieGroup, number(&e.Estimate), number(&e.EstimateU),
			number(&e.EstimateLo), number(&e.EstimateHi), number(&e.Coverage), number(e.PredictionLo), number(e.PredictionHi), number(&e.PScore),
			strconv.Itoa(e.Testers), strconv.Itoa(e.Sessions), strconv.Itoa(e.Readings), "", "", r.SHA256})
	}
	for i := range r.Unranked {
		u := &r.Unranked[i]
		rows = append(rows, []string{l.Measure, l.Keys[0], r.Unit, "", u.PanelModel, "", "", "", "", number(u.Estimate), number(u.EstimateU),
			"", "", "", "", "", "", strconv.Itoa(u.Testers), strconv.Itoa(u.Sessions), strconv.Itoa(u.Readings), u.Reason, u.Needs, r.SHA256})
	}
	return rows
}

func number(x *float64) string {
	if x == nil {
		return ""
	}
	return strconv.FormatFloat(*x, 'g', -1, 64)
}

// A fitted is one dataset's estimates in fits.json.
type fitted struct {
	Dataset    string             `json:"dataset"`
	Seed       string             `json:"seed"`
	Variances  map[string]float64 `json:"variances"` // of each term, logarithmic
	Converged  bool               `json:"converged"`
	Iterations int                `json:"iterations"`
	Panels     []fittedPanel      `json:"panel_models"`
}

// A fittedPanel is ln of a panel's response, to twelve digits: ln(P_stc/P_nameplate) of
// the power measures, ln(retention) of the others.
type fittedPanel struct {
	Panel    string   `json:"panel_model"`
	Estimate *float64 `json:"ln_estimate"`
	SE       *float64 `json:"ln_estimate_se"`
}

// encodeFits writes the estimates that the rankings are made of. Rankings have six
// digits; these show on another machine whether the computation was the same.
func encodeFits(ctx context.Context, out *ranking.Output) ([]byte, error) {
	fits := []fitted{}
	for _, f := range out.Fits {
		se, err := f.Fit.StandardErrors(ctx)
		if err != nil {
			return nil, fmt.Errorf("standard errors of %s: %w", f.Name, err)
		}
		one := fitted{Dataset: f.Name, Seed: strconv.FormatUint(f.Seed, 10), Variances: map[string]float64{}, Panels: []fittedPanel{},
			Converged: f.Fit.Converged, Iterations: f.Fit.Iterations}
		for t, v := range f.Fit.Theta {
			one.Variances[compare.Term(t).String()] = Rounded(v)
		}
		for p, slug := range f.Panels {
			one.Panels = append(one.Panels, fittedPanel{slug, finite(f.Fit.Mu[p]), finite(se[p])})
		}
		fits = append(fits, one)
	}
	return json.Marshal(struct {
		Fits []fitted `json:"fits"`
	}{fits})
}

func finite(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return roundedCopy(&x)
}

// A sessionLine says which revision of a session a snapshot rests on and what of it
// counted.
type sessionLine struct {
	ID       uuid.UUID      `json:"session_id"`
	Revision int            `json:"revision"`
	SHA256   string         `json:"content_sha256"`
	TesterID uuid.UUID      `json:"tester_id"`
	Readings []sessionState `json:"readings"`
}

type sessionState struct {
	ID    uuid.UUID              `json:"id"`
	State fieldtest.ReadingState `json:"state"`
}

// sessionsOf lists the sessions of canonical observations, in which those of a session
// stand together.
func sessionsOf(observations []ranking.Observation) []sessionLine {
	var list []sessionLine
	for i := range observations {
		o := &observations[i]
		if n := len(list); n == 0 || list[n-1].ID != o.SessionID {
			list = append(list, sessionLine{ID: o.SessionID, Revision: o.Revision, SHA256: o.ContentSHA256, TesterID: o.TesterID})
		}
		last := &list[len(list)-1]
		last.Readings = append(last.Readings, sessionState{o.ReadingID, o.State})
	}
	return list
}

func encodeSessions(list []sessionLine) ([]byte, error) {
	var b bytes.Buffer
	lines := json.NewEncoder(&b)
	for i := range list {
		if err := lines.Encode(&list[i]); err != nil {
			return nil, fmt.Errorf("session %s: %w", list[i].ID, err)
		}
	}
	return b.Bytes(), nil
}
