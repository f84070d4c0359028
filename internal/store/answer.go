package store

import (
	"context"
	"fmt"
	"net/http"
	"strconv"

	"github.com/go-json-experiment/json"
)

// An Answer says how a write is answered. A dry run has no place to point to.
type Answer struct {
	Status   int
	Location string // empty: none
	ETag     string // without quotation marks; empty: none
	DryRun   bool
	Body     func(sequence int64) any // called after the write is sealed; nil: no body
}

// Answer seals a write and encodes its answer.
func (tx *Tx) Answer(ctx context.Context, a Answer) (Response, error) {
	sequence, err := tx.Seal(ctx)
	if err != nil {
		return Response{}, err
	}
	r := Response{Status: a.Status, Header: map[string]string{}}
	if a.Body != nil {
		if r.Body, err = Encode(a.Body(sequence)); err != nil {
			return Response{}, err
		}
	}
	if a.DryRun {
		r.Status = http.StatusOK
		return r, nil
	}
	r.Header["Evensun-Sequence"] = strconv.FormatInt(sequence, 10)
	if a.Location != "" {
		r.Header["Location"] = a.Location
	}
	if a.ETag != "" {
		r.Header["ETag"] = `"` + a.ETag + `"`
	}
	return r, nil
}

// Encode writes what a write answers as JSON: lists that are empty as [], members of
// maps sorted, and signs such as < as they are.
func Encode(value any) ([]byte, error) {
	raw, err := json.Marshal(value, json.Deterministic(true))
	if err != nil {
		return nil, fmt.Errorf("encode an answer of type %T: %w", value, err)
	}
	return raw, nil
}
