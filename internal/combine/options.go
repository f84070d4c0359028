package combine

import (
	"fmt"
	"math"
	"strconv"
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
	Priors            []Prior  // what standard deviations are expected to be, for tables of few testers; nil: none
	UsualPriors       bool     // those of compare.PracticePriors for the terms that Priors leaves out
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

// A Prior is the expected standard deviation of a random term, in the unit of the values:
// the mean of a half-normal distribution that the data then change.
type Prior struct {
	Term string // as in Options.Random
	SD   float64
}

// ParsePriors returns the priors of a list such as "tester=0.02,tester:panel=0.012" for
// Options.Priors, with an *OptionError for what is not a term and a number above 0.
func ParsePriors(list string) ([]Prior, error) {
	if strings.TrimSpace(list) == "" {
		return nil, nil
	}
	var out []Prior
	for _, one := range strings.Split(list, ",") {
		name, number, _ := strings.Cut(one, "=")
		sd, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil || !(sd > 0) || math.IsInf(sd, 0) {
			return nil, &OptionError{"--prior", one, "a term and its expected standard deviation, a number above 0, as tester=0.02"}
		}
		out = append(out, Prior{strings.TrimSpace(name), sd})
	}
	return out, nil
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

// Reasons of row errors for which there is a cure.
const (
	reasonEmpty       = "empty"
	reasonNotNumber   = "not a number"
	reasonNotFinite   = "not a finite number below 1e100"
	reasonNotPositive = "must be above 0"
	reasonTooSmall    = "too small: at least 1e-100"
	reasonTooUnequal  = "more than 1e7 times smaller than the spread of a panel's values or the largest uncertainty"
	reasonLong        = "longer than 200 bytes"
	reasonNotUTF8     = "not valid UTF-8"
	reasonControl     = "contains a control character"
	reasonTwice       = "the column is there twice"
	otherThanHeader   = " columns, the header has " // between the two numbers
)

// Cure returns what to do about the fault, as a lower-case phrase; nothing where the
// reason says it.
func (e RowError) Cure() string {
	if strings.Contains(e.Reason, otherThanHeader) {
		return "separate by commas, put names that hold a comma in quotes, write decimals with a point"
	}
	switch e.Reason {
	case reasonEmpty:
		if e.Column == uncertaintyColumn {
			return "write its uncertainty, or leave the whole column out"
		}
		return "fill it in or delete the row"
	case reasonNotNumber, reasonNotFinite:
		if e.Reason == reasonNotNumber && strings.Contains(e.Value, ",") {
			return "write decimals with a point"
		}
		return "write a plain number as 0.95 or 9.5e-1, or delete the row"
	case reasonNotPositive:
		return "write the standard uncertainty in the unit of value, or leave the whole column out"
	case reasonTooSmall, reasonTooUnequal:
		return "no fit can weigh such readings together: correct it, or use --ignore-uncertainty"
	case reasonLong:
		return "shorten the name"
	case reasonNotUTF8:
		return "save the file as UTF-8"
	case reasonControl:
		return "delete it, and close every quote on its line"
	case reasonTwice:
		return "delete or rename one of the two"
	}
	return ""
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
