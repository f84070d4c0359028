package ledger_test

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"evensun/internal/ledger"
)

func ExampleVerify() {
	noon := time.Date(2026, 6, 14, 12, 0, 0, 0, time.UTC)
	rows, head, err := ledger.Append(ledger.Genesis(), noon, []ledger.Draft{
		{Kind: "tester_created", SubjectID: "t1", ContentSHA256: strings.Repeat("a", 64)},
		{Kind: "session_accepted", SubjectID: "s1", ContentSHA256: strings.Repeat("b", 64)},
	})
	fmt.Println(head.Sequence, err)
	rows[0].SubjectID = "t2"
	_, err = ledger.Verify(ledger.Genesis(), rows)
	fmt.Println(strings.HasPrefix(err.Error(), "ledger breaks at row 1: its members hash to"))
	// Output:
	// 2 <nil>
	// true
}

// The example of RFC 8785, section 3.2.2 and 3.2.3, input and result.
func TestCanonicalOfTheStandardsExample(t *testing.T) {
	t.Parallel()
	in := `{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],` +
		`"string":"\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/","literals":[null,true,false]}`
	want := `{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],` +
		`"string":"€$\u000f\nA'B\"\\\\\"/"}`
	got, err := ledger.Canonical([]byte(in))
	if err != nil || string(got) != want {
		t.Errorf("Canonical(RFC 8785 example) = %s, %v, want %s", got, err, want)
	}
}

// The hash is written out here by hand, so that the format cannot change unseen.
func TestHashOfARow(t *testing.T) {
	t.Parallel()
	content := strings.Repeat("ab", 32)
	at := time.Date(2026, 6, 14, 12, 0, 0, 123456789, time.FixedZone("", -6*3600))
	rows, _, err := ledger.Append(ledger.Genesis(), at, []ledger.Draft{{Kind: "tester_created", SubjectID: "x", ContentSHA256: content}})
	if err != nil {
		t.Fatal(err)
	}
	zero := strings.Repeat("0", 64)
	text := `{"at":"2026-06-14T18:00:00.123456Z","content_sha256":"` + content + `","kind":"tester_created","prev_hash":"` + zero + `","sequence":1,"subject_id":"x"}`
	sum := sha256.Sum256(append(make([]byte, 32), text...))
	if want := hex.EncodeToString(sum[:]); rows[0].Hash != want {
		t.Errorf("Append(...) hash = %s, want %s", rows[0].Hash, want)
	}
}

func drafts(t *rapid.T) []ledger.Draft {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) ledger.Draft {
		sum := sha256.Sum256([]byte(rapid.String().Draw(t, "content")))
		return ledger.Draft{
			Kind:          rapid.SampledFrom([]string{"session_accepted", "verdict_given", "price_added"}).Draw(t, "kind"),
			SubjectID:     rapid.String().Draw(t, "subject"),
			ContentSHA256: hex.EncodeToString(sum[:]),
		}
	}), 1, 8).Draw(t, "drafts")
}

// Whatever is done to one row of a chain, the walk stops at that row or the next.
func TestEveryTamperingShows(t *testing.T) {
	t.Parallel()
	noon := time.Date(2026, 6, 14, 12, 0, 0, 0, time.UTC)
	rapid.Check(t, func(rt *rapid.T) {
		rows, head, err := ledger.Append(ledger.Genesis(), noon, drafts(rt))
		if err != nil {
			rt.Fatal(err)
		}
		if got, err := ledger.Verify(ledger.Genesis(), rows); err != nil || got != head {
			rt.Fatalf("Verify(untouched) = %v, %v, want %v", got, err, head)
		}
		i := rapid.IntRange(0, len(rows)-1).Draw(rt, "row")
		tamper(rt, &rows[i])
		_, err = ledger.Verify(ledger.Genesis(), rows)
		found, ok := errors.AsType[*ledger.Break](err)
		if !ok || found.Sequence < int64(i+1) || found.Sequence > int64(i+2) {
			rt.Fatalf("Verify(row %d changed) = %v, want a break at row %d", i+1, err, i+1)
		}
	})
}

func tamper(t *rapid.T, e *ledger.Entry) {
	switch rapid.IntRange(0, 6).Draw(t, "member") {
	case 0:
		e.Sequence++
	case 1:
		e.At = e.At.Add(time.Microsecond)
	case 2:
		e.Kind += "x"
	case 3:
		e.SubjectID += "x"
	case 4:
		e.ContentSHA256 = strings.Repeat("f", 64)
	case 5:
		e.PrevHash = strings.Repeat("e", 64)
	case 6:
		e.Hash = strings.Repeat("d", 64)
	}
}

func TestRemovedRowShows(t *testing.T) {
	t.Parallel()
	noon := time.Date(2026, 6, 14, 12, 0, 0, 0, time.UTC)
	d := ledger.Draft{Kind: "price_added", SubjectID: "p", ContentSHA256: strings.Repeat("1", 64)}
	rows, _, err := ledger.Append(ledger.Genesis(), noon, []ledger.Draft{d, d, d})
	if err != nil {
		t.Fatal(err)
	}
	_, err = ledger.Verify(ledger.Genesis(), []ledger.Entry{rows[0], rows[2]})
	if found, ok := errors.AsType[*ledger.Break](err); !ok || found.Sequence != 2 {
		t.Errorf("Verify(row 2 removed) = %v, want a break at row 2", err)
	}
}

// Equal documents have equal hashes, whatever their white space and order.
func FuzzContentSHA256(f *testing.F) {
	f.Add("voltage_v", "current_a", 18.1, 8.42)
	f.Add("a", "b", 1e21, math.Copysign(0, -1))
	f.Fuzz(func(t *testing.T, a, b string, x, y float64) {
		if a == b || x != x || y != y || x-x != 0 || y-y != 0 {
			a, b, x, y = "a", "b", 1, 2
		}
		one, err1 := ledger.HashOf(map[string]float64{a: x, b: y})
		text := fmt.Sprintf(" { %s : %s ,\n%s:%s}", quote(b), number(y), quote(a), number(x))
		two, err2 := ledger.ContentSHA256([]byte(text))
		if (err1 == nil) != (err2 == nil) || one != two {
			t.Errorf("hash of {%q: %v, %q: %v} = %s, %v; in another order %s, %v", a, x, b, y, one, err1, two, err2)
		}
	})
}

func quote(s string) string {
	raw, _ := json.Marshal(s) // a string always has a JSON form
	return string(raw)
}

func number(x float64) string {
	return strconv.FormatFloat(x, 'e', -1, 64)
}
