package httpapi

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
	"evensun/internal/snapshot"
	"evensun/internal/store"

	"github.com/labstack/echo/v4"
)

// freezeTimeout is how long a snapshot may take: it computes everything anew, twice.
const freezeTimeout = 5 * time.Minute

// A SnapshotStore is where snapshots are kept.
type SnapshotStore interface {
	Snapshot(ctx context.Context, name string) (store.Snapshot, error)
	Snapshots(ctx context.Context, p store.Page) ([]store.Snapshot, *store.Cursor, int64, error)
	SnapshotFile(ctx context.Context, snapshot, name string) (store.SnapshotFile, error)
}

// A Freezer makes a snapshot and publishes it in one write, which answer seals.
type Freezer interface {
	Freeze(ctx context.Context, idem store.Idempotency, dryRun bool,
		answer func(ctx context.Context, tx *store.Tx, s *snapshot.Snapshot) (store.Response, error)) (store.Response, bool, error)
}

// ListSnapshots answers GET /v1/snapshots.
func (s *Server) ListSnapshots(c echo.Context, _ ListSnapshotsParams) error {
	return list(s, c, "snapshots", func(p store.Page) ([]SnapshotSummary, *store.Cursor, int64, error) {
		found, next, asOf, err := s.cfg.Store.Snapshots(c.Request().Context(), p)
		items := make([]SnapshotSummary, 0, len(found))
		for _, f := range found {
			items = append(items, SnapshotSummary{Name: f.Name, CreatedAt: f.CreatedAt, SnapshotSha256: f.SHA256, Sequence: f.Sequence, Href: snapshotPath(f.Name)})
		}
		return items, next, asOf, err
	})
}

func snapshotPath(name string) string { return "/v1/snapshots/" + name }

// CreateSnapshot answers POST /v1/snapshots. It takes longer than other requests may, and
// goes on if the client leaves: sent again with the same key, it is answered.
func (s *Server) CreateSnapshot(c echo.Context, _ CreateSnapshotParams) error {
	o, err := s.options(c, []byte("{}"))
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(c.Request().Context()), freezeTimeout)
	defer cancel()
	return s.answered(c)(s.cfg.Freeze.Freeze(ctx, o.Idempotency, false, answerSnapshot))
}

// answerSnapshot seals the write of a snapshot and answers with its manifest.
func answerSnapshot(ctx context.Context, tx *store.Tx, made *snapshot.Snapshot) (store.Response, error) {
	body, err := manifestBody(made.Raw, made.SHA256)
	if err != nil {
		return store.Response{}, err
	}
	return tx.Answer(ctx, store.Answer{Status: http.StatusCreated, Location: snapshotPath(made.Manifest.Name), ETag: made.SHA256[:16],
		Body: func(int64) any { return json.RawMessage(body) }})
}

// manifestBody returns a manifest with its own hash as one more member.
func manifestBody(manifest []byte, sha256 string) ([]byte, error) {
	open, ok := bytes.CutSuffix(bytes.TrimSpace(manifest), []byte("}"))
	if !ok {
		return nil, fmt.Errorf("manifest with hash %s is no JSON object", sha256)
	}
	return append(bytes.Clone(open), `,"snapshot_sha256":"`+sha256+`"}`...), nil
}

// GetSnapshot answers GET /v1/snapshots/{snapshot}.
func (s *Server) GetSnapshot(c echo.Context, name Snapshot, _ GetSnapshotParams) error {
	if _, err := s.formatOf(c, jsonOnly); err != nil {
		return err
	}
	found, err := s.cfg.Store.Snapshot(c.Request().Context(), name)
	if err != nil {
		return err
	}
	body, err := manifestBody(found.Manifest, found.SHA256)
	if err != nil {
		return err
	}
	dataHeaders(c)
	return s.reply(c, reply{media: jsonType, cache: cacheForever, etag: found.SHA256[:16], body: body})
}

// GetSnapshotFile answers GET /v1/snapshots/{snapshot}/files/{file}.
func (s *Server) GetSnapshotFile(c echo.Context, name Snapshot, file string, _ GetSnapshotFileParams) error {
	f, err := s.cfg.Store.SnapshotFile(c.Request().Context(), name, file)
	if err != nil {
		return err
	}
	dataHeaders(c)
	c.Response().Header().Set("Content-Disposition", `attachment; filename="`+name+"-"+f.Name+`"`)
	return s.reply(c, reply{media: f.MediaType, cache: cacheForever, etag: f.SHA256[:16], body: f.Content})
}

// frozenRanking answers a ranking as a snapshot holds it.
func (s *Server) frozenRanking(c echo.Context, m fieldtest.Measure, key string, params GetRankingParams) error {
	if _, filtered := refitQuery(m, key, params); filtered || params.AtLeast != nil {
		return notHere("snapshot", "A snapshot's ranking does not change: it goes neither with a refit nor with at_least.")
	}
	f, err := s.formatOf(c, asList)
	if err != nil {
		return err
	}
	file, err := s.cfg.Store.SnapshotFile(c.Request().Context(), *params.Snapshot, snapshot.RankingsJSON)
	if err != nil {
		return missingSnapshot(err, *params.Snapshot)
	}
	body, err := snapshot.RankingOf(file.Content, m.Name, ranking.Key(key, "", deref(params.Component)))
	if err != nil {
		return err
	}
	if f == asJSON {
		return s.sendFrozen(c, body)
	}
	var r fieldtest.Ranking
	if err := json.Unmarshal(body, &r); err != nil {
		return err
	}
	setAsOf(c, r.ComputedThrough)
	return s.sendRankingTable(c, f, r, cacheForever)
}

func missingSnapshot(err error, name string) error {
	if isKind(err, fieldtest.NotFound) {
		return fieldtest.Missing("snapshot", name)
	}
	return err
}

func (s *Server) sendFrozen(c echo.Context, body []byte) error {
	var r struct {
		Through int64 `json:"computed_through"`
	}
	if err := json.Unmarshal(body, &r); err != nil {
		return err
	}
	dataHeaders(c)
	c.Response().Header().Set("Evensun-As-Of", strconv.FormatInt(r.Through, 10))
	return s.reply(c, reply{media: jsonType, cache: cacheForever, etag: contentTag(body), body: body})
}
