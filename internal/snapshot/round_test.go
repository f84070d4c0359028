package snapshot_test

import (
	"fmt"
	"math"
	"reflect"
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/snapshot"
)

func ExampleName() {
	at := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	fmt.Println(snapshot.Name(at, nil))
	fmt.Println(snapshot.Name(at, []string{"2026-w48", "2026-w48-2"}))
	// Output:
	// 2026-w48
	// 2026-w48-3
}

func ExampleRounded() {
	fmt.Println(snapshot.Rounded(187.4536271828459045))
	// Output: 187.453627183
}

// Rounding moves a number by half a step at most, keeps order and sign, and changes
// nothing the second time.
func FuzzRounded(f *testing.F) {
	for _, x := range []float64{0, 1, -1, 187.45362718284590, 1e-300, 9.99999999999949e22, 0.1 + 0.2, 1 - 1e-13, 5e-324, math.MaxFloat64} {
		f.Add(x, x*(1+1e-12))
	}
	f.Fuzz(func(t *testing.T, x, y float64) {
		if math.IsNaN(x) || math.IsNaN(y) {
			if r := snapshot.Rounded(math.NaN()); !math.IsNaN(r) {
				t.Errorf("Rounded(NaN) = %v, want NaN", r)
			}
			return
		}
		r := snapshot.Rounded(x)
		if snapshot.Rounded(r) != r {
			t.Errorf("Rounded(Rounded(%v)) = %v, want %v", x, snapshot.Rounded(r), r)
		}
		if snapshot.Rounded(-x) != -r {
			t.Errorf("Rounded(%v) = %v, want %v", -x, snapshot.Rounded(-x), -r)
		}
		if !math.IsInf(x, 0) && math.Abs(r-x) > 5.01e-12*math.Abs(x)+5e-324 {
			t.Errorf("Rounded(%v) = %v, further than half a step", x, r)
		}
		if x < y && r > snapshot.Rounded(y) {
			t.Errorf("Rounded(%v) = %v is above Rounded(%v) = %v", x, r, y, snapshot.Rounded(y))
		}
	})
}

// No number of a result or of a ranking is left unrounded: every float64 of the types is
// filled with one that rounding changes, and looked for afterwards.
func TestEveryComputedNumberIsRounded(t *testing.T) {
	t.Parallel()
	const long = 1.0 / 3
	in := flat()
	var result fieldtest.Result
	fillFloats(reflect.ValueOf(&result), long)
	in.Observations[0].Result = &result
	got := snapshot.Canonical(in)
	for i := range got.Observations {
		if got.Observations[i].ReadingID == in.Observations[0].ReadingID {
			wantNone(t, reflect.ValueOf(got.Observations[i].Result), "Result", long)
		}
	}
	if result.StcPowerW != long || result.Retention.Value != long {
		t.Error("Canonical() has changed the caller's result")
	}
	var ranking fieldtest.Ranking
	ranking.Entries, ranking.Unranked = make([]fieldtest.Entry, 1), make([]fieldtest.Unranked, 1)
	fillFloats(reflect.ValueOf(&ranking), long)
	ranking.Cover = nil // a class, not computed
	rounded := snapshot.RoundedRanking(ranking)
	wantNone(t, reflect.ValueOf(&rounded), "Ranking", long)
}

// fillFloats sets every float64 below v, making what pointers point to.
func fillFloats(v reflect.Value, x float64) {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			v.Set(reflect.New(v.Type().Elem()))
		}
		fillFloats(v.Elem(), x)
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			return
		}
		for i := range v.NumField() {
			fillFloats(v.Field(i), x)
		}
	case reflect.Slice:
		for i := range v.Len() {
			fillFloats(v.Index(i), x)
		}
	case reflect.Float64:
		v.SetFloat(x)
	}
}

func wantNone(t *testing.T, v reflect.Value, at string, x float64) {
	t.Helper()
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			wantNone(t, v.Elem(), at, x)
		}
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			return
		}
		for i := range v.NumField() {
			wantNone(t, v.Field(i), at+"."+v.Type().Field(i).Name, x)
		}
	case reflect.Slice:
		for i := range v.Len() {
			wantNone(t, v.Index(i), fmt.Sprintf("%s[%d]", at, i), x)
		}
	case reflect.Float64:
		if v.Float() == x {
			t.Errorf("%s is not rounded", at)
		}
	}
}
