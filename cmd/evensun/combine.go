package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"

	"evensun/internal/combine"
	"evensun/internal/compare"
)

// combineTable compares the panels of a CSV table and prints JSON.
func combineTable(ctx context.Context, std streams, args []string) error {
	o, name, err := combineOptions(std, args)
	if err != nil {
		return err
	}
	in := std.in
	if name != "-" {
		file, err := os.Open(name)
		if err != nil {
			return &misuse{err.Error()}
		}
		defer file.Close()
		in = file
	}
	err = combine.Run(ctx, in, o, std.out)
	if table, ok := errors.AsType[*combine.TableError](err); ok {
		for _, row := range table.Rows {
			fmt.Fprintln(std.err, withCure(row))
		}
		return &misuse{fmt.Sprintf("%d bad rows, nothing was compared", len(table.Rows)+table.More)}
	}
	if option, ok := errors.AsType[*combine.OptionError](err); ok {
		return &misuse{option.Error()}
	}
	if errors.Is(err, compare.ErrModel) {
		return &misuse{err.Error() + "; fewer terms in --random, more readings a panel or a column standard_uncertainty may help"}
	}
	return err
}

func withCure(row combine.RowError) string {
	if cure := row.Cure(); cure != "" {
		return row.Error() + "; " + cure
	}
	return row.Error()
}

func combineOptions(std streams, args []string) (combine.Options, string, error) {
	var o combine.Options
	flags := flag.NewFlagSet("combine", flag.ContinueOnError)
	random := flags.String("random", "", "random terms, as tester,session,tester:panel; empty: all that the columns allow; none: no terms")
	flags.StringVar(&o.Estimator, "estimator", "reml", "reml or ml")
	flags.BoolVar(&o.SessionFixed, "session-fixed", false, "sessions as fixed effects")
	flags.BoolVar(&o.IgnoreUncertainty, "ignore-uncertainty", false, "estimate the residual although the table has uncertainties")
	flags.StringVar(&o.Reference, "reference", "", "panel of the contrasts; empty: the first in byte order")
	priors := flags.String("prior", "", "expected standard deviations of random terms, for few testers, as tester=0.02,tester:panel=0.012; usual: those of logarithms of normalised power")
	names, err := intermixed(flags, std.err, args)
	if err != nil {
		return o, "", err
	}
	if len(names) != 1 {
		return o, "", &misuse{"needs one CSV file, or - for standard input"}
	}
	o.Random = combine.ParseRandom(*random)
	if o.UsualPriors = *priors == "usual"; o.UsualPriors {
		*priors = ""
	}
	if o.Priors, err = combine.ParsePriors(*priors); err != nil {
		return o, "", &misuse{err.Error()}
	}
	return o, names[0], nil
}
