package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"evensun/internal/fieldtest"
)

// The SQLSTATEs that mean something to us.
const (
	codeLockNotAvailable = "55P03"
	codeSerialization    = "40001"
	codeDeadlock         = "40P01"
	codeReadOnly         = "25006"
	codeDiskFull         = "53100"
	codeDuplicateTable   = "42P07"
	codeDuplicateColumn  = "42701"
	codeDuplicateObject  = "42710"
)

// An ExistingSession says that a session is stored already: by the same content, or
// by the same client_ref with the same content.
type ExistingSession struct{ ID uuid.UUID }

// Error implements error.
func (e *ExistingSession) Error() string { return "session is stored already as " + e.ID.String() }

// errUnknownOutcome says that the connection was lost while a commit was under way.
var errUnknownOutcome = errors.New("connection lost during commit")

func isCode(err error, code string) bool {
	pgErr, ok := errors.AsType[*pgconn.PgError](err)
	return ok && pgErr.Code == code
}

// mayRepeat tells whether a write stored nothing and may well succeed when repeated:
// it lost a conflict, or its connection was dead before anything was sent.
func mayRepeat(err error) bool {
	return isCode(err, codeSerialization) || isCode(err, codeDeadlock) || pgconn.SafeToRetry(err)
}

// isUnreachable tells whether the connection broke or none could be made.
func isUnreachable(err error) bool {
	_, connecting := errors.AsType[*pgconn.ConnectError](err)
	_, network := errors.AsType[*net.OpError](err)
	closed := errors.Is(err, net.ErrClosed) || errors.Is(err, pgx.ErrTxClosed) || pgconn.SafeToRetry(err) // nothing was sent
	return connecting || network || closed || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF)
}

// refusalOf turns what a client can act on into a Refusal and leaves the rest.
func refusalOf(err error) error {
	if _, ok := errors.AsType[*fieldtest.Refusal](err); ok {
		return err
	}
	if errors.Is(err, errUnknownOutcome) {
		return errors.Join(&fieldtest.Refusal{Kind: fieldtest.Overloaded, Detail: "The connection to the database was lost while storing, so whether it was stored is unknown. Send the same request again with the same Idempotency-Key."}, err)
	}
	pgErr, ok := errors.AsType[*pgconn.PgError](err)
	if !ok && isUnreachable(err) {
		return errors.Join(&fieldtest.Refusal{Kind: fieldtest.Overloaded, Detail: "The database cannot be reached at the moment; nothing was stored. Try again in a moment."}, err)
	}
	if !ok {
		return err
	}
	if refusal := constraintRefusal(pgErr); refusal != nil {
		return refusal
	}
	if pgErr.Code == codeLockNotAvailable {
		return &fieldtest.Refusal{Kind: fieldtest.Overloaded, Detail: "Too many writes wait for each other; nothing was stored. Try again in a moment."}
	}
	if pgErr.Code == codeReadOnly || pgErr.Code == codeDiskFull || strings.HasPrefix(pgErr.Code, "57P0") {
		return errors.Join(&fieldtest.Refusal{Kind: fieldtest.ReadOnly, Detail: "The database takes no writes at the moment; nothing was stored. Try again later."}, err)
	}
	return err
}

// constraintRefusal knows what a client did to meet a named constraint.
func constraintRefusal(err *pgconn.PgError) *fieldtest.Refusal {
	switch err.ConstraintName {
	case "tester_display_name":
		return nameTaken("#/display_name", "A tester of this name exists already; nothing was stored.")
	case "panel_model_slug":
		return nameTaken("#/slug", "A panel model with this slug exists already; nothing was stored. A slug is never used again.")
	case "snapshot_pkey", "snapshot_file_pkey":
		return nameTaken("#/name", "A snapshot of this name exists already; nothing was stored. A name is never used again.")
	case "session_rig":
		return &fieldtest.Refusal{Kind: fieldtest.ValidationFailed, Detail: "There is no such rig; nothing was stored.",
			Faults: []fieldtest.Fault{{Pointer: "#/rig/id", Code: "unknown", Reason: "There is no such rig."}}}
	case "reading_label":
		return &fieldtest.Refusal{Kind: fieldtest.ValidationFailed, Detail: "Two readings have the same label; nothing was stored.",
			Faults: []fieldtest.Fault{{Pointer: "#/readings", Code: "duplicate", Reason: "Labels must differ within a session."}}}
	case "api_key_tester_id_fkey", "rig_tester_id_fkey", "session_tester_id_fkey", "specimen_tester_id_fkey":
		return &fieldtest.Refusal{Kind: fieldtest.NotFound, Detail: "There is no such tester; nothing was stored."}
	case "panel_model_revision_pkey", "rig_revision_pkey", "session_pkey":
		return &fieldtest.Refusal{Kind: fieldtest.PreconditionFailed, Detail: "Somebody else changed it in the meantime; nothing was stored. Read it again."}
	}
	return nil
}

func nameTaken(pointer, detail string) *fieldtest.Refusal {
	return &fieldtest.Refusal{Kind: fieldtest.NameTaken, Detail: detail,
		Faults: []fieldtest.Fault{{Pointer: pointer, Code: "name_taken", Reason: detail}}}
}

// staleRevision is the refusal of a change to another revision than the current.
func staleRevision(current int) *fieldtest.Refusal {
	return &fieldtest.Refusal{Kind: fieldtest.PreconditionFailed,
		Detail: fmt.Sprintf("It was changed in the meantime and is now at revision %d; nothing was stored. Read it again and repeat the change.", current),
		Extra:  map[string]any{"current_etag": fmt.Sprintf(`"r%d"`, current)}}
}

// found turns "no rows" into the refusal that the thing does not exist.
func found(err error, thing, id string) error {
	if errors.Is(err, pgx.ErrNoRows) {
		return fieldtest.Missing(thing, id)
	}
	if err != nil {
		return refusalOf(fmt.Errorf("read %s %s: %w", thing, id, err))
	}
	return nil
}

// commitError marks a commit whose outcome nobody knows: the connection broke and
// the server gave no error of its own.
func commitError(ctx context.Context, err error) error {
	_, answered := errors.AsType[*pgconn.PgError](err)
	if err == nil || answered || pgconn.SafeToRetry(err) {
		return err
	}
	return fmt.Errorf("%w: %w", errUnknownOutcome, errors.Join(err, ctx.Err()))
}
