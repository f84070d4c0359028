package main

import (
	"errors"
	"flag"
	"io"
)

// intermixed parses flags that may stand before and after other arguments, and returns
// those. What it does not understand is a misuse; asked for help it prints the flags.
func intermixed(flags *flag.FlagSet, stderr io.Writer, args []string) ([]string, error) {
	flags.SetOutput(io.Discard) // run tells the fault, once
	var rest []string
	for {
		err := flags.Parse(args)
		switch {
		case errors.Is(err, flag.ErrHelp):
			flags.SetOutput(stderr)
			flags.Usage()
			return nil, err
		case err != nil:
			return nil, &misuse{err.Error()}
		case flags.NArg() == 0:
			return rest, nil
		}
		rest, args = append(rest, flags.Arg(0)), flags.Args()[1:]
	}
}
