// Package reftest reads the check values of testdata/reference for tests.
//
// A reference file is {"source", "origin", "tolerance", "cases": [{"in", "out"}]}.
// Tolerances are absolute and keyed by output name; "default" serves every other
// name, a key that starts with "*" matches names by their ending, and the word
// "relative" in "default_relative" or "NAME_relative" makes it relative. A file
// without cases or without a source, and an output without a tolerance, fail the
// test: a check that cannot fail is not a check.
//
// Measured data belong to others and are never committed. They stand beside the
// project in ../shared/reference/measured; Measured skips, and says so, where
// that folder is absent.
//
// Imported by tests only.
package reftest
