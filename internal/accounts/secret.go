package accounts

import (
	"bufio"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"strings"
)

const (
	prefix      = "evs_"
	idLength    = 10
	secretChars = 32
	checkChars  = 6
	digits      = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
)

// ErrMalformed says that a text is no key: another form, or a mistyped character.
var ErrMalformed = errors.New("not a key of this service")

// A Secret is a key in full, which its owner sees once:
//
//	evs_<id 10>_<secret 32><check 6>
//
// in base62. The id is public and finds the row; the secret's 32 characters are 190 bits
// from a random source; the check is CRC-32 of what precedes, so that a mistyped key is
// refused without asking the database, and scanners for leaked secrets can tell a real
// key from a look-alike.
type Secret struct {
	ID     string // public part, 10 characters
	secret string
}

// NewSecret draws a key from a random source, in production crypto/rand.Reader.
func NewSecret(random io.Reader) (Secret, error) {
	in := bufio.NewReaderSize(random, 64)
	id, err := draw(in, idLength)
	if err != nil {
		return Secret{}, err
	}
	secret, err := draw(in, secretChars)
	if err != nil {
		return Secret{}, err
	}
	return Secret{ID: id, secret: secret}, nil
}

// draw returns n digits, all equally likely: bytes of 248 and above are drawn anew.
func draw(in *bufio.Reader, n int) (string, error) {
	out := make([]byte, 0, n)
	for len(out) < n {
		b, err := in.ReadByte()
		if err != nil {
			return "", fmt.Errorf("draw a key: %w", err)
		}
		if b < 4*62 {
			out = append(out, digits[b%62])
		}
	}
	return string(out), nil
}

// ParseSecret reads a key. The error is ErrMalformed.
func ParseSecret(s string) (Secret, error) {
	body, ok := strings.CutPrefix(s, prefix)
	if !ok || len(body) != idLength+1+secretChars+checkChars || body[idLength] != '_' {
		return Secret{}, ErrMalformed
	}
	k := Secret{ID: body[:idLength], secret: body[idLength+1 : idLength+1+secretChars]}
	if strings.Trim(k.ID+k.secret, digits) != "" || k.Text() != s {
		return Secret{}, ErrMalformed
	}
	return k, nil
}

// Text returns the key in full, to be shown once.
func (k Secret) Text() string {
	s := prefix + k.ID + "_" + k.secret
	return s + check(s)
}

// String returns the public part, so that no log holds the secret.
func (k Secret) String() string { return prefix + k.ID }

// GoString returns the public part too.
func (k Secret) GoString() string { return k.String() }

// Hash returns SHA-256 of the secret, which is what is stored.
func (k Secret) Hash() [32]byte { return sha256.Sum256([]byte(k.secret)) }

// Matches tells in constant time whether the key's secret has that hash.
func (k Secret) Matches(stored []byte) bool {
	h := k.Hash()
	return subtle.ConstantTimeCompare(h[:], stored) == 1
}

// Same tells in time that depends on lengths alone whether two secrets are equal.
func Same(a, b string) bool {
	x, y := sha256.Sum256([]byte(a)), sha256.Sum256([]byte(b))
	return subtle.ConstantTimeCompare(x[:], y[:]) == 1
}

// check returns CRC-32 (IEEE) of s as six base62 digits.
func check(s string) string {
	sum := crc32.ChecksumIEEE([]byte(s))
	var out [checkChars]byte
	for i := len(out) - 1; i >= 0; i-- {
		out[i] = digits[sum%62]
		sum /= 62
	}
	return string(out[:])
}
