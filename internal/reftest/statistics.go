package reftest

import (
	"encoding/json"
	"os"
	"testing"
)

// fits is how many cases of statistics/cases.json are fits: a file cut short fails.
const fits = 15

// Fits returns the fits of statistics/cases.json, each decoded into T.
func Fits[T any](tb testing.TB) []T {
	tb.Helper()
	var f struct {
		Cases []T `json:"cases"`
	}
	decodeFile(tb, "statistics/cases.json", &f)
	if len(f.Cases) != fits {
		tb.Fatalf("%d cases in the file, want %d", len(f.Cases), fits)
	}
	return f.Cases
}

// BesideFits returns an entry of statistics/cases.json that stands beside its fits.
func BesideFits[T any](tb testing.TB, name string) T {
	tb.Helper()
	return entry[T](tb, "statistics/cases.json", name)
}

// Table returns one table of statistics/tables.json.
func Table[T any](tb testing.TB, name string) T {
	tb.Helper()
	return entry[T](tb, "statistics/tables.json", name)
}

func entry[T any](tb testing.TB, file, name string) T {
	tb.Helper()
	var all map[string]json.RawMessage
	decodeFile(tb, file, &all)
	var one T
	decode(tb, file+" "+name, all[name], &one)
	return one
}

func decodeFile(tb testing.TB, name string, into any) {
	tb.Helper()
	raw, err := os.ReadFile(Path(name))
	if err != nil {
		tb.Fatal(err)
	}
	decode(tb, name, raw, into)
}
