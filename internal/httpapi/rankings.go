package httpapi

import (
	"bytes"
	"context"
	"encoding/json"
	"regexp"
	"strconv"
	"sync"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
	"evensun/internal/ranking"
	"evensun/internal/store"

	"github.com/labstack/echo/v4"
)

const longestWait = 30 * time.Second

// ListRankings answers GET /v1/rankings.
func (s *Server) ListRankings(c echo.Context) error {
	ctx := c.Request().Context()
	all := RankingList{Items: []RankingSummary{}}
	for _, m := range fieldtest.Measures() {
		through, err := s.cfg.Store.ComputedThrough(ctx, m.Name, "")
		if err != nil {
			return err
		}
		all.Items = append(all.Items, RankingSummary{Measure: m.Name, Unit: m.Unit, Arrangement: string(m.Arrangement), Title: m.Title,
			Definition: m.Definition, ComputedThrough: through, Href: "/v1/rankings/" + m.Name})
	}
	return s.sendJSON(c, all, byContent, cachePublic)
}

// GetRanking answers GET /v1/rankings/{measure}.
func (s *Server) GetRanking(c echo.Context, name GetRankingParamsMeasure, params GetRankingParams) error {
	measure, ok := fieldtest.MeasureNamed(string(name))
	if !ok {
		return fieldtest.Missing("measure", string(name))
	}
	key, err := keyOf(measure, params)
	if err != nil {
		return err
	}
	if params.Snapshot != nil {
		return s.frozenRanking(c, measure, key, params)
	}
	through, err := s.covered(c, measure, key, params)
	if err != nil {
		return err
	}
	row, err := s.rankingRow(c.Request().Context(), measure, key, params)
	if err != nil {
		return err
	}
	return s.sendRanking(c, row, through, params)
}

// keyOf returns under which name a ranking is published: its currency, its class of
// cover, or none for the default.
func keyOf(m fieldtest.Measure, params GetRankingParams) (string, error) {
	switch {
	case params.Currency != nil && m.Name != fieldtest.PowerPerPrice:
		return "", notHere("currency", "Only power-per-price has a currency.")
	case params.Cover != nil && m.Name != fieldtest.ShadeRetention:
		return "", notHere("cover", "Only shade-retention has a cover.")
	case params.Currency != nil:
		return *params.Currency, nil
	case params.Cover != nil:
		class := normalise.CoverClass(*params.Cover)
		if class == "" {
			return "", notHere("cover", "Covers are ranked at 0.25, 0.33 and 0.5.")
		}
		return class, nil
	}
	return "", nil
}

func notHere(parameter, reason string) *fieldtest.Refusal {
	return &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "A parameter of the request is not right.",
		Faults: []fieldtest.Fault{{Parameter: parameter, Code: "not_expected", Reason: reason}}}
}

func (s *Server) rankingRow(ctx context.Context, m fieldtest.Measure, key string, params GetRankingParams) (servedRow, error) {
	if q, filtered := refitQuery(m, key, params); filtered {
		row, err := s.cfg.Refit.Refit(ctx, q)
		return newServedRow(row), err
	}
	p, err := s.publishedRow(ctx, m.Name, ofComponent(key, params.Component), params.AtLeast != nil)
	if isKind(err, fieldtest.NotFound) {
		row, err := s.emptyRanking(m, params)
		return newServedRow(row), err
	}
	return p, err
}

// ofComponent names the list of a component: the first is the default.
func ofComponent(key string, component *int) string {
	currency, cover := key, ""
	return ranking.Key(currency, cover, deref(component))
}

func refitQuery(m fieldtest.Measure, key string, p GetRankingParams) (RefitQuery, bool) {
	q := RefitQuery{Measure: m, Key: key, From: p.From, To: p.To, RigKinds: wordsOf(p.RigKind), Metered: p.Sensor != nil,
		Near: nearFrom(p.Near), PanelModels: wordsOf(p.PanelModel), Component: deref(p.Component), MinTesters: deref(p.MinTesters)}
	filtered := q.MinTesters > 0 || q.From != nil || q.To != nil || q.RigKinds != nil || q.Metered || q.Near != nil || q.PanelModels != nil
	return q, filtered
}

// noRanking says why there is nothing under what was asked for.
func noRanking(params GetRankingParams) string {
	switch {
	case params.Currency != nil:
		return "No panel with a price in " + *params.Currency + " has been ranked."
	case deref(params.Component) > 1:
		return "There is no group of panels of this number."
	}
	return "Nothing has been measured yet."
}

// emptyRanking is what a measure answers before any data.
func (s *Server) emptyRanking(m fieldtest.Measure, params GetRankingParams) (store.RankingRow, error) {
	r := fieldtest.Ranking{Measure: m.Name, Unit: m.Unit, Currency: deref(params.Currency), Cover: params.Cover, Headline: noRanking(params),
		Entries: []fieldtest.Entry{}, Unranked: []fieldtest.Unranked{}, Cautions: []fieldtest.Caution{}}
	body, err := marshal(r)
	return store.RankingRow{Measure: m.Name, SHA256: contentTag(body), Body: body}, err
}

// sendRanking sends the published bytes as they are, unless the client asks for a
// part or another form of them.
func (s *Server) sendRanking(c echo.Context, row servedRow, through int64, params GetRankingParams) error {
	f, err := s.formatOf(c, asList)
	if err != nil {
		return err
	}
	cache := cachePublic
	if params.AtLeast != nil {
		cache = cacheCheck
	}
	setAsOf(c, max(through, row.ComputedThrough))
	if through <= row.ComputedThrough && f == asJSON {
		dataHeaders(c)
		return s.reply(c, reply{media: jsonType, cache: cache, etag: row.tag, body: row.Body, packed: row.packed})
	}
	var r fieldtest.Ranking
	if err := json.Unmarshal(row.Body, &r); err != nil {
		return err
	}
	r.ComputedThrough = max(through, r.ComputedThrough)
	if f == asJSON {
		return s.sendJSON(c, r, byContent, cache)
	}
	return s.sendRankingTable(c, f, r, cache)
}

func (s *Server) sendRankingTable(c echo.Context, f format, r fieldtest.Ranking, cache string) error {
	var out bytes.Buffer
	w := newRowWriter[rankingTableRow](c, &out, f)
	if err := w.head(); err != nil {
		return err
	}
	for _, row := range rankingTable(&r) {
		if err := w.row(row); err != nil {
			return err
		}
	}
	if err := w.flush(); err != nil {
		return err
	}
	dataHeaders(c)
	tableHeaders(c, r.Measure, f)
	return s.reply(c, reply{media: f.media(), cache: cache, etag: contentTag(out.Bytes()), body: out.Bytes()})
}

func setAsOf(c echo.Context, sequence int64) {
	c.Response().Header().Set("Evensun-As-Of", strconv.FormatInt(sequence, 10))
}

// covered returns the sequence that the ranking covers, after a wait if the client
// prefers one. 0 if it did not ask.
func (s *Server) covered(c echo.Context, m fieldtest.Measure, key string, params GetRankingParams) (int64, error) {
	if params.AtLeast == nil {
		return 0, nil
	}
	head, err := s.cfg.Store.LedgerHead(c.Request().Context())
	if err != nil {
		return 0, err
	}
	if *params.AtLeast > head.Sequence {
		return 0, &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "Nothing with this sequence was ever written.",
			Faults: []fieldtest.Fault{{Parameter: "at_least", Code: "out_of_range", Value: *params.AtLeast, Limit: head.Sequence, Relation: "<=", Reason: "The ledger ends at " + strconv.FormatInt(head.Sequence, 10) + "."}}}
	}
	wait := preferredWait(c.Request().Header.Get("Prefer"))
	through, err := s.awaited(c, m, key, *params.AtLeast, wait)
	if err != nil {
		return 0, err
	}
	if wait > 0 {
		c.Response().Header().Set("Preference-Applied", "wait="+strconv.Itoa(int(wait.Seconds())))
	}
	return through, nil
}

var waitForm = regexp.MustCompile(`(?i)(?:^|[,;\s])wait\s*=\s*"?(\d{1,6})`)

// preferredWait reads Prefer: wait=10 (RFC 7240 4.3), at most 30 s.
func preferredWait(header string) time.Duration {
	found := waitForm.FindStringSubmatch(header)
	if found == nil {
		return 0
	}
	n, err := strconv.Atoi(found[1])
	if err != nil {
		return 0
	}
	return min(time.Duration(n)*time.Second, longestWait)
}

// awaited asks the store once, and again whenever rankings were published, until the
// ranking covers the sequence or the time is over. A waiter holds a connection, never
// one to the database.
func (s *Server) awaited(c echo.Context, m fieldtest.Measure, key string, atLeast int64, wait time.Duration) (int64, error) {
	ctx, cancel := context.WithTimeout(c.Request().Context(), wait)
	defer cancel()
	if wait > 0 {
		if !s.waiters.enter() {
			return 0, &fieldtest.Refusal{Kind: fieldtest.Overloaded, Detail: "Too many requests wait for rankings."}
		}
		defer s.waiters.leave()
	}
	for {
		published := s.waiters.next()
		through, err := s.cfg.Store.ComputedThrough(c.Request().Context(), m.Name, key)
		if err != nil || through >= atLeast {
			return through, err
		}
		select {
		case <-published:
		case <-ctx.Done():
			return 0, &fieldtest.Refusal{Kind: fieldtest.NotYetIncluded, Detail: "This ranking does not cover that write yet.",
				Extra: map[string]any{"requested": atLeast, "computed_through": through}}
		}
	}
}

// Published wakes the requests that wait for a ranking. Whoever watches the store
// calls it.
func (s *Server) Published() {
	s.rows.empty()
	s.waiters.wake()
}

// Watch calls Published for every event that may have changed a ranking, until the
// channel closes.
func (s *Server) Watch(events <-chan store.Event) {
	s.rows.watch(true)
	defer s.rows.watch(false)
	for range events {
		s.Published()
	}
}

// Waiters are the requests that wait for a ranking.
type waiters struct {
	mu      sync.Mutex
	most    int
	waiting int
	signal  chan struct{}
}

func newWaiters(most int) *waiters { return &waiters{most: most, signal: make(chan struct{})} }

func (w *waiters) enter() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.waiting >= w.most {
		return false
	}
	w.waiting++
	return true
}

func (w *waiters) leave() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.waiting--
}

// next returns a channel that closes at the next wake.
func (w *waiters) next() <-chan struct{} {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.signal
}

func (w *waiters) wake() {
	w.mu.Lock()
	defer w.mu.Unlock()
	close(w.signal)
	w.signal = make(chan struct{})
}

// ComparePanels answers GET /v1/comparisons.
func (s *Server) ComparePanels(c echo.Context, params ComparePanelsParams) error {
	measure := fieldtest.StcPower
	if params.Measure != nil {
		measure = string(*params.Measure)
	}
	ctx := c.Request().Context()
	seen := map[string]bool{}
	for _, slug := range params.Models {
		if seen[slug] {
			return notHere("models", "Every panel model is named once; "+slug+" stands there twice.")
		}
		seen[slug] = true
		if _, err := s.cfg.Store.PanelModel(ctx, slug); err != nil {
			return err
		}
	}
	if params.Currency != nil && measure != fieldtest.PowerPerPrice {
		return notHere("currency", "Only power-per-price has a currency.")
	}
	r, err := s.cfg.Compare.Compare(ctx, measure, deref(params.Currency), params.Models)
	if err != nil {
		return err
	}
	if r.Energy, err = s.comparedEnergy(ctx, &params); err != nil {
		return err
	}
	r.Pairs, r.Cautions = orEmpty(r.Pairs), orEmpty(r.Cautions)
	setAsOf(c, r.ComputedThrough)
	return s.sendJSON(c, r, byContent, cachePublic)
}
