package httpapi

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"

	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/ledger"
	"evensun/internal/store"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
)

// options returns how the client wants a write to be done. The fingerprint covers
// method, path, sorted query and the canonical body, so that the same key with
// anything else is noticed.
func (s *Server) options(c echo.Context, raw []byte) (intake.SubmitOptions, error) {
	o := intake.SubmitOptions{DryRun: c.QueryParam("dry_run") == "true", Method: c.QueryParam("method"), Derivation: c.QueryParam("include") == "derivation"}
	key := strings.Trim(c.Request().Header.Get("Idempotency-Key"), `"`)
	if key == "" || o.DryRun {
		return o, nil
	}
	body, err := ledger.Canonical(raw)
	if err != nil {
		return o, err
	}
	r := c.Request()
	what := r.Method + "\n" + r.URL.Path + "\n" + r.URL.Query().Encode() + "\n"
	o.Idempotency = store.Idempotency{TesterID: callerOf(c).TesterID, Key: key, Fingerprint: sha256.Sum256(append([]byte(what), body...))}
	return o, nil
}

// newID draws a UUIDv7.
func (s *Server) newID() (uuid.UUID, error) { return uuid.NewV7FromReader(s.cfg.Random) }

// created is the answer to a write that made or changed a thing.
type created struct {
	status   int
	location string
	etag     string
	value    func(sequence *int64) any // the body, once the sequence is known
}

// seal ends a write: it gets the sequence and makes the answer.
func seal(ctx context.Context, tx *store.Tx, w created) (store.Response, error) {
	sequence, err := tx.Seal(ctx)
	if err != nil {
		return store.Response{}, err
	}
	r := store.Response{Status: w.status, Header: map[string]string{"Evensun-Sequence": strconv.FormatInt(sequence, 10)}}
	if w.location != "" {
		r.Header["Location"] = w.location
	}
	if w.etag != "" {
		r.Header["ETag"] = `"` + w.etag + `"`
	}
	if w.value != nil {
		r.Body, err = marshal(w.value(&sequence))
	}
	return r, err
}

// withoutIdentity returns the body of something that was not stored: what would name
// it is null.
func withoutIdentity(raw []byte) ([]byte, error) {
	var members map[string]json.RawMessage
	if err := json.Unmarshal(raw, &members); err != nil {
		return nil, fmt.Errorf("answer of a dry run: %w", err)
	}
	for _, name := range []string{"id", "key_id", "sequence", "created_at", "updated_at"} {
		if _, ok := members[name]; ok {
			members[name] = json.RawMessage("null")
		}
	}
	members["stored"] = json.RawMessage("false")
	return marshal(members)
}

func invalid(pointer, code, reason string) *fieldtest.Refusal {
	return &fieldtest.Refusal{Kind: fieldtest.ValidationFailed, Detail: "The body has a fault. Nothing was stored.",
		Faults: []fieldtest.Fault{{Pointer: pointer, Code: code, Reason: reason}}}
}
