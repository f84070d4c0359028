package contract_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"evensun/internal/contract"
	"evensun/internal/fieldtest"

	"github.com/getkin/kin-openapi/openapi3"
)

// An independent validator reads the same schemas: what it takes we take, and what it
// refuses we refuse. Left out is where we mean to be stricter: a required member that
// is null, formats, NUL, duplicate members, and anything behind the value.
func agree(t *testing.T, doc *openapi3.T, body []byte) {
	t.Helper()
	var v any
	if json.Unmarshal(body, &v) != nil {
		return
	}
	theirs := doc.Components.Schemas["Session"].Value.VisitJSON(v, openapi3.MultiErrors())
	var s fieldtest.Session
	ours := contract.Checked(body, "Session", &s, noRules)
	if ours == nil && theirs != nil {
		t.Errorf("we take what is refused: %v\n%s", theirs, body)
	}
	if ours == nil || theirs != nil {
		return
	}
	refusal, ok := errors.AsType[*fieldtest.Refusal](ours)
	if !ok {
		t.Errorf("a body that passed does not decode: %v\n%s", ours, body)
		return
	}
	for _, f := range refusal.Faults {
		stricter := f.Code == "duplicate_member" || f.Code == "nul_character" || f.Code == "not_utf8" || f.Code == "not_json" || f.Code == "required" ||
			strings.HasPrefix(f.Code, "time_") || f.Code == "not_a_time" || f.Code == "not_an_id"
		if !stricter {
			t.Errorf("we refuse what passes: %+v\n%s", f, body)
		}
	}
}

func FuzzAgreesWithIndependentValidator(f *testing.F) {
	own, err := contract.Own()
	if err != nil {
		f.Fatal(err)
	}
	f.Add([]byte(good))
	f.Add([]byte(`{"started_at":null,"site":{"latitude_deg":1e999,"ground":"moss"},"rig":{"cable":{"cross_section_mm2":0}},"readings":[]}`))
	f.Add([]byte(`[1,"2",null,true]`))
	f.Fuzz(func(t *testing.T, body []byte) { agree(t, own.Document(), body) })
}

// Every member of the good session is replaced by each of many values.
func TestAgreesWithIndependentValidator(t *testing.T) {
	t.Parallel()
	own, err := contract.Own()
	if err != nil {
		t.Fatal(err)
	}
	whole, err := json.Marshal(own.Document().Components.Examples["session"].Value.Value)
	if err != nil {
		t.Fatal(err)
	}
	values := []string{`null`, `true`, `-1`, `0`, `0.5`, `1`, `3`, `90.0000001`, `360`, `1e5`, `1e400`, `""`, `"x"`, `"clear"`, `"flat"`, `"2026-06-14T11:05:00Z"`, `"` + strings.Repeat("x", 2001) + `"`,
		`[]`, `[1,2]`, `["a"]`, `{}`, `{"tilt_deg":35}`, `{"rule":"a","reason":"b"}`, `[{"rule":"a","reason":"b"}]`, `{"voltage_v":[1,2,3,4,5],"current_a":[1,2,3,4,5]}`}
	tried := 0
	for _, at := range places(whole) {
		for _, v := range values {
			agree(t, own.Document(), slicesConcat(whole[:at[0]], []byte(v), whole[at[1]:]))
			tried++
		}
	}
	if tried < 1000 {
		t.Errorf("only %d bodies were tried", tried)
	}
}

func slicesConcat(parts ...[]byte) []byte { return bytes.Join(parts, nil) }

// places returns where values stand in a JSON text: begin and end.
func places(raw []byte) [][2]int {
	var all [][2]int
	dec := json.NewDecoder(bytes.NewReader(raw))
	for {
		_, err := dec.Token()
		if err != nil {
			return all
		}
		end := int(dec.InputOffset())
		begin := end
		for begin > 0 && !strings.ContainsRune(",:[{ ", rune(raw[begin-1])) {
			begin--
		}
		if end < len(raw) && raw[end] != ':' && json.Valid(raw[begin:end]) {
			all = append(all, [2]int{begin, end})
		}
	}
}

// Whatever is done to a good body, faults stand in document order and point to
// something that is there, or is missing from something that is.
func FuzzFaultsPointIntoTheBody(f *testing.F) {
	f.Add([]byte(good), uint64(1))
	f.Add([]byte(strings.ReplaceAll(good, "152", "-152")), uint64(2))
	f.Fuzz(func(t *testing.T, body []byte, seed uint64) {
		body = scratched(body, seed)
		_, err := contract.Session(body, now)
		refusal, ok := errors.AsType[*fieldtest.Refusal](err)
		if err != nil && !ok {
			t.Fatalf("%v is no refusal\n%s", err, body)
		}
		var v any
		if err == nil || json.Unmarshal(body, &v) != nil || refusal.Kind != fieldtest.ValidationFailed {
			return
		}
		if len(refusal.Faults) == 0 {
			t.Errorf("a refusal without fault\n%s", body)
		}
		for _, fault := range refusal.Faults {
			if !strings.HasPrefix(fault.Pointer, "#") || fault.Reason == "" || fault.Code == "" {
				t.Errorf("fault %+v\n%s", fault, body)
			}
		}
	})
}

// scratched overwrites a few bytes.
func scratched(body []byte, seed uint64) []byte {
	body = bytes.Clone(body)
	r := rand.New(rand.NewPCG(seed, 0))
	for range r.IntN(4) {
		if len(body) > 0 {
			body[r.IntN(len(body))] = "0123456789-.\"{}[],:nulltrueab"[r.IntN(29)]
		}
	}
	return body
}

func fifty() []byte {
	var b strings.Builder
	b.WriteString(good[:strings.Index(good, `"readings"`)] + `"readings": [`)
	for i := range 50 {
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, `{"label": "A%d", "panel": {"model": "tarn-fold-200", "specimen": "unit-1"}, "taken_at": "2026-06-14T11:22:00-06:00", "voltage_v": 18.1, "current_a": 8.42, "power_w": 152, "irradiance": {"poa_w_m2": 912, "sensor": "reference_cell"}, "back_temperature_c": 47.5, "warm_up_min": 20}`, i)
	}
	return []byte(b.String() + "]}")
}

// BenchmarkSession reports how long checking and decoding a session of 50 readings
// takes, as a multiple of decoding alone and of the independent validator.
func BenchmarkSession(b *testing.B) {
	own, err := contract.Own()
	if err != nil {
		b.Fatal(err)
	}
	body := fifty()
	plain := func() {
		var s fieldtest.Session
		dec := json.NewDecoder(bytes.NewReader(body))
		dec.DisallowUnknownFields()
		if err := dec.Decode(&s); err != nil {
			b.Fatal(err)
		}
	}
	ours := func() {
		if _, err := contract.Session(body, now); err != nil {
			b.Fatal(err)
		}
	}
	theirs := func() {
		var v any
		if err := json.Unmarshal(body, &v); err != nil {
			b.Fatal(err)
		}
		if err := own.Document().Components.Schemas["Session"].Value.VisitJSON(v, openapi3.MultiErrors()); err != nil {
			b.Fatal(err)
		}
		plain()
	}
	b.Run("decode", func(b *testing.B) { loop(b, plain) })
	b.Run("contract", func(b *testing.B) { loop(b, ours) })
	b.Run("independent", func(b *testing.B) { loop(b, theirs) })
}

func loop(b *testing.B, f func()) {
	b.ReportAllocs()
	for b.Loop() {
		f()
	}
}
