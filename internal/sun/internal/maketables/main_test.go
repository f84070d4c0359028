package main

import (
	"os"
	"testing"

	"evensun/internal/reftest"
)

// The committed tables must be what the published terms give.
func TestTablesAreCurrent(t *testing.T) {
	t.Parallel()
	in, err := os.Open(reftest.Path("physics/spa-terms.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	want, err := render(in)
	if err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile("../../tables.go")
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != string(want) {
		t.Error("tables.go differs from spa-terms.csv: run go generate ./internal/sun")
	}
}
