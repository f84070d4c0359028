package httpapi

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"evensun/internal/accounts"
	"evensun/internal/contract"
	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/ledger"
	"evensun/internal/store"

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

// submitted reads the body of a write, holds it against its schema and the rules that
// the schema cannot state (nil: none), and returns it with how the write is to be done.
func submitted[T any](s *Server, c echo.Context, schema string, rules func(T, time.Time) []fieldtest.Fault) (T, intake.SubmitOptions, error) {
	var body T
	raw, err := s.body(c)
	if err != nil {
		return body, intake.SubmitOptions{}, err
	}
	err = contract.Checked(raw, schema, &body, func() []fieldtest.Fault {
		if rules == nil {
			return nil
		}
		return rules(body, s.cfg.Now())
	})
	if err != nil {
		return body, intake.SubmitOptions{}, err
	}
	o, err := s.options(c, raw)
	return body, o, err
}

// accountOptions are the options that writes about accounts take.
func accountOptions(o intake.SubmitOptions) accounts.Options {
	return accounts.Options{DryRun: o.DryRun, Idempotency: o.Idempotency}
}

// answered sends the outcome of a write.
func (s *Server) answered(c echo.Context) func(store.Response, bool, error) error {
	return func(r store.Response, replayed bool, err error) error {
		if err != nil {
			return err
		}
		return s.written(c, r, replayed)
	}
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
