package ledger

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"
)

// An Entry is one row of the ledger.
type Entry struct {
	Sequence      int64     `json:"sequence"` // from 1, without gaps, in commit order
	At            time.Time `json:"at"`
	Kind          string    `json:"kind"`       // what happened, as session_accepted
	SubjectID     string    `json:"subject_id"` // to what: a uuid, a slug or a key's public part
	ContentSHA256 string    `json:"content_sha256"`
	PrevHash      string    `json:"prev_hash"`
	Hash          string    `json:"hash"`
}

// A Head is the newest row's place and hash.
type Head struct {
	Sequence int64     `json:"sequence"`
	At       time.Time `json:"at"`
	Hash     string    `json:"hash"`
}

// A Draft is a row that has no place in the chain yet.
type Draft struct {
	Kind          string
	SubjectID     string
	ContentSHA256 string
}

// A Break is the first row at which a chain does not hold.
type Break struct {
	Sequence int64
	Reason   string
}

// Error implements error.
func (b *Break) Error() string {
	return fmt.Sprintf("ledger breaks at row %d: %s", b.Sequence, b.Reason)
}

// timeLayout is how a row's time is hashed: UTC with the six digits that the
// database keeps.
const timeLayout = "2006-01-02T15:04:05.000000Z"

// Genesis returns the head of a ledger without rows.
func Genesis() Head {
	return Head{At: time.Unix(0, 0).UTC(), Hash: strings.Repeat("0", 2*sha256.Size)}
}

// Canonical returns the one form of a JSON document in which equal documents are
// equal bytes: members sorted, numbers in their shortest form, no white space. The
// error says why raw is not JSON or not representable in double precision.
//
// Source: RFC 8785, section 3.
func Canonical(raw []byte) ([]byte, error) {
	out := jsontext.Value(bytes.Clone(raw))
	if err := out.Canonicalize(); err != nil {
		return nil, fmt.Errorf("canonical JSON: %w", err)
	}
	return out, nil
}

// ContentSHA256 returns the lower-case hexadecimal SHA-256 of a JSON document's
// canonical form.
func ContentSHA256(raw []byte) (string, error) {
	canonical, err := Canonical(raw)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(canonical)
	return hex.EncodeToString(sum[:]), nil
}

// HashOf returns the content hash of a value's JSON form.
func HashOf(value any) (string, error) {
	raw, err := json.Marshal(value)
	if err != nil {
		return "", fmt.Errorf("content hash: %w", err)
	}
	return ContentSHA256(raw)
}

// Append returns the drafts as rows that follow head, all with the time at, which is
// cut to microseconds, and the new head.
func Append(head Head, at time.Time, drafts []Draft) ([]Entry, Head, error) {
	at = at.UTC().Truncate(time.Microsecond)
	entries := make([]Entry, 0, len(drafts))
	for _, d := range drafts {
		e := Entry{
			Sequence: head.Sequence + 1, At: at, Kind: d.Kind, SubjectID: d.SubjectID,
			ContentSHA256: d.ContentSHA256, PrevHash: head.Hash,
		}
		hash, err := hashOf(e)
		if err != nil {
			return nil, Head{}, err
		}
		e.Hash = hash
		entries = append(entries, e)
		head = Head{Sequence: e.Sequence, At: e.At, Hash: e.Hash}
	}
	return entries, head, nil
}

// Verify walks rows that should follow head and returns the head after them. The
// error is a *Break that names the first row that does not fit: a wrong number, a
// link to another row than the one before, or a hash that is not that of its members.
func Verify(head Head, entries []Entry) (Head, error) {
	for _, e := range entries {
		if e.Sequence != head.Sequence+1 {
			return head, &Break{Sequence: head.Sequence + 1, Reason: fmt.Sprintf("the next row is number %d", e.Sequence)}
		}
		if e.PrevHash != head.Hash {
			return head, &Break{Sequence: e.Sequence, Reason: fmt.Sprintf("it follows a row with hash %s, the row before has %s", e.PrevHash, head.Hash)}
		}
		hash, err := hashOf(e)
		if err != nil {
			return head, &Break{Sequence: e.Sequence, Reason: err.Error()}
		}
		if e.Hash != hash {
			return head, &Break{Sequence: e.Sequence, Reason: fmt.Sprintf("its members hash to %s, it says %s", hash, e.Hash)}
		}
		head = Head{Sequence: e.Sequence, At: e.At, Hash: e.Hash}
	}
	return head, nil
}

// hashOf returns SHA-256 of the 32 bytes of prev_hash followed by the canonical JSON
// of the row without its own hash, in lower-case hexadecimal.
func hashOf(e Entry) (string, error) {
	prev, err := hex.DecodeString(e.PrevHash)
	if err != nil || len(prev) != sha256.Size {
		return "", fmt.Errorf("ledger row %d: prev_hash %q is not 64 hexadecimal digits", e.Sequence, e.PrevHash)
	}
	raw, err := json.Marshal(map[string]any{
		"sequence": e.Sequence, "at": e.At.UTC().Format(timeLayout), "kind": e.Kind, "subject_id": e.SubjectID,
		"content_sha256": e.ContentSHA256, "prev_hash": e.PrevHash,
	})
	if err != nil {
		return "", fmt.Errorf("ledger row %d: %w", e.Sequence, err)
	}
	canonical, err := Canonical(raw)
	if err != nil {
		return "", fmt.Errorf("ledger row %d: %w", e.Sequence, err)
	}
	sum := sha256.Sum256(append(prev, canonical...))
	return hex.EncodeToString(sum[:]), nil
}
