package refresh

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
	"evensun/internal/store"
)

// detailMeasure is the measure under which a panel's results are stored: one row a panel.
const detailMeasure = fieldtest.StcPower

// mostContributions bounds what is stored of contributions in all; above, each panel
// keeps its heaviest.
const mostContributions = 50_000

// publish stores all lists of a computation and what each panel's places rest on.
func (w *Worker) publish(ctx context.Context, c *computation) error {
	rows, published := w.rankingRows(ctx, c)
	gone, err := w.goneRows(ctx, c, published)
	if err != nil {
		return err
	}
	var details []store.DetailRow
	if published[rankingName{detailMeasure, ""}] {
		if details, err = w.detailRows(c); err != nil {
			return err
		}
	}
	return w.store.PublishRankings(ctx, append(rows, gone...), details)
}

type rankingName struct{ measure, key string }

// rankingRows encodes every list under all its names. One that cannot be encoded is
// logged and left as it was published before.
func (w *Worker) rankingRows(ctx context.Context, c *computation) ([]store.RankingRow, map[rankingName]bool) {
	var rows []store.RankingRow
	published := map[rankingName]bool{}
	for i := range c.out.Lists {
		l := &c.out.Lists[i]
		body, err := json.Marshal(&l.Ranking)
		if err != nil {
			w.o.Log.ErrorContext(ctx, "a ranking could not be encoded", "measure", l.Measure, "error", err)
			continue
		}
		for _, key := range c.out.Keys(i) {
			published[rankingName{l.Measure, key}] = true
			rows = append(rows, store.RankingRow{Measure: l.Measure, Key: key, ComputedThrough: c.in.Through, ComputedAt: c.in.At, SHA256: l.Ranking.SHA256, Body: body})
		}
	}
	return rows, published
}

// goneRows empties lists that were published before and do not exist any more, such as
// a component that has grown together with another.
func (w *Worker) goneRows(ctx context.Context, c *computation, published map[rankingName]bool) ([]store.RankingRow, error) {
	standing, err := w.store.Rankings(ctx)
	if err != nil {
		return nil, err
	}
	failed := map[string]bool{}
	for _, f := range c.out.Failed {
		failed[f.Dataset] = true
	}
	var rows []store.RankingRow
	for _, old := range standing {
		if published[rankingName{old.Measure, old.Key}] || failed[ranking.DatasetOf(old.Measure, old.Key)] {
			continue
		}
		r, err := emptied(old, c)
		if err != nil {
			return nil, err
		}
		rows = append(rows, r)
	}
	return rows, nil
}

func emptied(old store.RankingRow, c *computation) (store.RankingRow, error) {
	var r fieldtest.Ranking
	if err := json.Unmarshal(old.Body, &r); err != nil {
		return old, fmt.Errorf("published ranking %s %s: %w", old.Measure, old.Key, err)
	}
	sum := sha256.Sum256([]byte("nothing in " + old.Measure + " " + old.Key))
	r.SHA256, r.ComputedThrough, r.ComputedAt, r.Model = hex.EncodeToString(sum[:]), c.in.Through, &c.in.At, nil
	r.Basis, r.BasisSentence, r.LevelU = "", "", nil
	r.Headline = "There are no readings in this list any more."
	r.Entries, r.Unranked, r.Cautions = []fieldtest.Entry{}, []fieldtest.Unranked{}, []fieldtest.Caution{}
	body, err := json.Marshal(&r)
	return store.RankingRow{Measure: old.Measure, Key: old.Key, ComputedThrough: c.in.Through, ComputedAt: c.in.At, SHA256: r.SHA256, Body: body}, err
}

// detailRows encodes the results of every panel, and one row without a panel by which
// other replicas see how far the publication reaches.
func (w *Worker) detailRows(c *computation) ([]store.DetailRow, error) {
	results := c.out.Results(c.in)
	conclusions := w.conclude(c, results)
	most := max(20, mostContributions/max(1, len(results)))
	rows := []store.DetailRow{{Measure: detailMeasure, ComputedThrough: c.in.Through, Body: []byte("{}")}}
	for slug, r := range results {
		if len(c.in.Observations) > mostContributions && len(r.Contributions) > most {
			r.Contributions = r.Contributions[:most]
		}
		body, err := json.Marshal(detail{*r, conclusions[slug]})
		if err != nil {
			return nil, fmt.Errorf("results of %s: %w", slug, err)
		}
		sum := sha256.Sum256(body)
		rows = append(rows, store.DetailRow{PanelModel: slug, Measure: detailMeasure, ComputedThrough: c.in.Through, SHA256: hex.EncodeToString(sum[:]), Body: body})
	}
	return rows, nil
}
