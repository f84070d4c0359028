package accounts_test

import (
	"bytes"
	"errors"
	"fmt"
	"hash/crc32"
	"regexp"
	"strings"
	"testing"

	"evensun/internal/accounts"

	"pgregory.net/rapid"
)

func counting(n int) *bytes.Reader {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(i)
	}
	return bytes.NewReader(b)
}

func ExampleNewSecret() {
	key, err := accounts.NewSecret(counting(64)) // crypto/rand.Reader in earnest
	fmt.Println(key.Text(), err)
	// Output: evs_0123456789_ABCDEFGHIJKLMNOPQRSTUVWXYZabcdef0Sehsp <nil>
}

func TestCheckIsCRC32(t *testing.T) {
	t.Parallel()
	key, err := accounts.NewSecret(counting(64))
	if err != nil {
		t.Fatal(err)
	}
	s := key.Text()
	body, check := s[:len(s)-6], s[len(s)-6:]
	const digits = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
	var sum uint64
	for _, c := range check {
		sum = sum*62 + uint64(strings.IndexRune(digits, c))
	}
	if want := uint64(crc32.ChecksumIEEE([]byte(body))); sum != want {
		t.Errorf("check digits of %q = %d, want %d", s, sum, want)
	}
}

func TestParseReadsBack(t *testing.T) {
	t.Parallel()
	form := regexp.MustCompile(`^evs_[0-9A-Za-z]{10}_[0-9A-Za-z]{38}$`)
	rapid.Check(t, func(rt *rapid.T) {
		random := rapid.SliceOfN(rapid.Byte(), 400, 400).Draw(rt, "random")
		key, err := accounts.NewSecret(bytes.NewReader(random))
		if err != nil {
			return // too many bytes that are drawn anew
		}
		s := key.Text()
		if !form.MatchString(s) {
			rt.Fatalf("New = %q, want the form %s", s, form)
		}
		back, err := accounts.ParseSecret(s)
		if err != nil || back != key {
			rt.Fatalf("Parse(%q) = %v, %v, want it back", s, back, err)
		}
		h := key.Hash()
		if !back.Matches(h[:]) {
			rt.Fatal("a key does not match its own hash")
		}
		h[rapid.IntRange(0, 31).Draw(rt, "byte")] ^= 1
		if back.Matches(h[:]) {
			rt.Fatal("a key matches another hash")
		}
	})
}

// CRC-32 finds every burst of up to 32 bits, so every single wrong character.
func TestOneWrongCharacterIsRefused(t *testing.T) {
	t.Parallel()
	key, err := accounts.NewSecret(counting(64))
	if err != nil {
		t.Fatal(err)
	}
	s := key.Text()
	for i := range len(s) {
		for _, c := range []byte("0Zz_ é") {
			if s[i] == c {
				continue
			}
			wrong := s[:i] + string(c) + s[i+1:]
			if _, err := accounts.ParseSecret(wrong); !errors.Is(err, accounts.ErrMalformed) {
				t.Errorf("Parse(%q) = %v, want ErrMalformed", wrong, err)
			}
		}
	}
	for _, wrong := range []string{"", "evs_", s[1:], s + "0", strings.ToUpper(s)} {
		if _, err := accounts.ParseSecret(wrong); !errors.Is(err, accounts.ErrMalformed) {
			t.Errorf("Parse(%q) = %v, want ErrMalformed", wrong, err)
		}
	}
}

func TestNewNeedsRandomness(t *testing.T) {
	t.Parallel()
	for _, n := range []int{0, 9, 41} {
		if _, err := accounts.NewSecret(counting(n)); err == nil {
			t.Errorf("New with %d random bytes gave a key", n)
		}
	}
}

func TestSecretStaysOutOfLogs(t *testing.T) {
	t.Parallel()
	key, err := accounts.NewSecret(counting(64))
	if err != nil {
		t.Fatal(err)
	}
	for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%q"} {
		if got := fmt.Sprintf(verb, key); strings.Contains(got, "ABCDEF") {
			t.Errorf("%s = %s, which tells the secret", verb, got)
		}
	}
}

func TestSame(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		a, b string
		want bool
	}{{"", "", true}, {"x", "x", true}, {"x", "y", false}, {"x", "xx", false}} {
		if got := accounts.Same(c.a, c.b); got != c.want {
			t.Errorf("Same(%q, %q) = %v, want %v", c.a, c.b, got, c.want)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add("evs_0123456789_ABCDEFGHIJKLMNOPQRSTUVWXYZabcdef0Sehsp")
	f.Add("evs_0123456789_")
	f.Fuzz(func(t *testing.T, s string) {
		key, err := accounts.ParseSecret(s)
		if err == nil && key.Text() != s {
			t.Errorf("Parse(%q) accepted what it writes as %q", s, key)
		}
	})
}
