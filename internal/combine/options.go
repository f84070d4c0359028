package combine

import (
	"fmt"
	"strings"
)

// Options say which model is fitted. The zero value is restricted maximum
// likelihood with all random terms that the table allows.
type Options struct {
	Random            []string // terms as "tester:panel"; nil: all the table allows; empty: none
	Estimator         string   // "reml" or "ml"; empty: "reml"
	SessionFixed      bool     // sessions as fixed effects: the classical network meta-analysis
	IgnoreUncertainty bool     // estimate the residual although the table has uncertainties
	Reference         string   // panel of the contrasts; empty: the first in byte order
	SkipLikelihood    bool     // no log-likelihood above 2,000 panels, where it takes seconds
}

// ParseRandom returns the terms of a list such as "tester,tester:panel" for
// Options.Random: nil of an empty list, no terms of "none".
func ParseRandom(list string) []string {
	switch strings.TrimSpace(list) {
	case "":
		return nil
	case "none":
		return []string{}
	}
	terms := strings.Split(list, ",")
	for i, name := range terms {
		terms[i] = strings.TrimSpace(name)
	}
	return terms
}

// An OptionError says which option does not fit the table, and why.
type OptionError struct {
	Option string // as on the command line, "--random"
	Value  string
	Reason string
}

// Error returns the fault as one lower-case sentence.
func (e *OptionError) Error() string {
	return fmt.Sprintf("%s %s: %s", e.Option, e.Value, e.Reason)
}

// A RowError is one fault of the table.
type RowError struct {
	Line   int    // from 1, the header's line
	Column string // name in the header; empty where the row as a whole is at fault
	Value  string // as it stands there, cut after 60 bytes
	Reason string
}

// Error returns the fault as one lower-case sentence.
func (e RowError) Error() string {
	if e.Column == "" {
		return fmt.Sprintf("line %d: %s", e.Line, e.Reason)
	}
	return fmt.Sprintf("line %d, column %s: %q: %s", e.Line, e.Column, e.Value, e.Reason)
}

// A TableError holds the faults of a table, the first 100 in the order of lines.
type TableError struct {
	Rows []RowError
	More int // faults beyond those
}

// Error returns the first fault and the number of others.
func (e *TableError) Error() string {
	others := len(e.Rows) - 1 + e.More
	if others == 0 {
		return e.Rows[0].Error()
	}
	return fmt.Sprintf("%s (and %d more)", e.Rows[0].Error(), others)
}
