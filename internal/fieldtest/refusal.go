package fieldtest

import (
	"fmt"
	"strings"
)

// RefusalKind says what the client can do about a refused request. It is the
// problem's code on the wire.
type RefusalKind string

// The kinds of refusal.
const (
	MalformedRequest     RefusalKind = "malformed_request"
	InvalidParameter     RefusalKind = "invalid_parameter"
	CursorInvalid        RefusalKind = "cursor_invalid"
	Unauthenticated      RefusalKind = "unauthenticated"
	Forbidden            RefusalKind = "forbidden"
	NotFound             RefusalKind = "not_found"
	MethodNotAllowed     RefusalKind = "method_not_allowed"
	NotAcceptable        RefusalKind = "not_acceptable"
	UnsupportedMediaType RefusalKind = "unsupported_media_type"
	IllegalTransition    RefusalKind = "illegal_transition"
	NameTaken            RefusalKind = "name_taken"
	IdempotencyKeyInUse  RefusalKind = "idempotency_key_in_use"
	Gone                 RefusalKind = "gone"
	PreconditionFailed   RefusalKind = "precondition_failed"
	PayloadTooLarge      RefusalKind = "payload_too_large"
	ValidationFailed     RefusalKind = "validation_failed"
	PhysicallyImpossible RefusalKind = "physically_impossible"
	IdempotencyKeyReused RefusalKind = "idempotency_key_reused"
	PreconditionRequired RefusalKind = "precondition_required"
	RateLimited          RefusalKind = "rate_limited"
	Internal             RefusalKind = "internal"
	NotYetIncluded       RefusalKind = "not_yet_included"
	Overloaded           RefusalKind = "overloaded"
	ReadOnly             RefusalKind = "read_only"
)

// A Refusal is an error meant for whoever sent the request; all others are ours.
type Refusal struct {
	Kind   RefusalKind
	Detail string         // one sentence for people: what is wrong, and that nothing was stored
	Faults []Fault        // in document order
	Extra  map[string]any // further members of the problem document, as current_etag
}

// Error implements error.
func (r *Refusal) Error() string {
	if len(r.Faults) == 0 {
		return string(r.Kind) + ": " + r.Detail
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s", r.Kind, r.Detail)
	for _, f := range r.Faults {
		fmt.Fprintf(&b, "; %s%s%s: %s", f.Pointer, f.Parameter, f.Header, f.Reason)
	}
	return b.String()
}

// A Fault is one thing wrong with a request. Exactly one of Pointer, Parameter and
// Header is set.
type Fault struct {
	Pointer   string         `json:"pointer,omitempty"` // JSON pointer in fragment form, as #/readings/3/voltage_v
	Parameter string         `json:"parameter,omitempty"`
	Header    string         `json:"header,omitempty"`
	Code      string         `json:"code"`
	Value     any            `json:"value,omitempty"`
	Limit     any            `json:"limit,omitempty"`
	Relation  string         `json:"relation,omitempty"`
	Unit      string         `json:"unit,omitempty"`
	Reason    string         `json:"reason"`
	Basis     map[string]any `json:"basis,omitempty"`
}

// Missing returns the refusal for something that does not exist, or that the
// caller may not know of.
func Missing(thing, id string) *Refusal {
	return &Refusal{Kind: NotFound, Detail: fmt.Sprintf("There is no %s %q.", thing, id)}
}
