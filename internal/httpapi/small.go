package httpapi

import (
	"bytes"
	"encoding/json"
	"errors"

	"evensun/internal/fieldtest"
)

func ptr[T any](x T) *T { return &x }

func deref[T any](p *T) T {
	if p == nil {
		var zero T
		return zero
	}
	return *p
}

// orEmpty returns a list that is written as [] where there is none.
func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// strings of a list of words, nil for none.
func wordsOf[T ~string](list *[]T) []string {
	if list == nil {
		return nil
	}
	out := make([]string, len(*list))
	for i, w := range *list {
		out[i] = string(w)
	}
	return out
}

// marshal writes all JSON of this package, for people too: < and > stay as they are,
// since no answer is ever taken for HTML (nosniff).
func marshal(v any) ([]byte, error) {
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	err := enc.Encode(v)
	return bytes.TrimSuffix(out.Bytes(), []byte("\n")), err
}

func isKind(err error, kind fieldtest.RefusalKind) bool {
	refusal, ok := errors.AsType[*fieldtest.Refusal](err)
	return ok && refusal.Kind == kind
}
