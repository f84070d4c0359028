package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"evensun/internal/diode"
	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/sheet"
)

// checkedSession is what check tells of one session of a table.
type checkedSession struct {
	Line    int                `json:"line"`
	Session string             `json:"session,omitempty"`
	Receipt *fieldtest.Receipt `json:"receipt,omitempty"`
	Errors  []sheet.Fault      `json:"errors,omitempty"`
}

// checkTable judges every session of a table and exits with 1 where one would be refused.
func checkTable(ctx context.Context, out io.Writer, raw []byte, o sheet.Options, asJSON, explained bool) error {
	table, err := sheet.Read(raw, o)
	if refusal, ok := errors.AsType[*fieldtest.Refusal](err); ok {
		if asJSON {
			return errors.Join(printJSON(out, problem{refusal.Kind, refusal.Detail, refusal.Faults}), errRefused)
		}
		printRefusal(out, refusal)
		return errRefused
	}
	if err != nil {
		return err
	}
	var all []checkedSession
	refused, library := 0, &diode.Library{}
	for _, s := range table.Sessions {
		one, err := checkOf(ctx, s, library)
		if err != nil {
			return err
		}
		if len(one.Errors) > 0 {
			refused++
		}
		all = append(all, one)
	}
	if asJSON {
		err = printJSON(out, all)
	} else {
		printTable(out, table, all, explained)
	}
	if err == nil && refused > 0 {
		return errRefused
	}
	return err
}

// checkOf judges one session of a table.
func checkOf(ctx context.Context, s *sheet.Session, library *diode.Library) (checkedSession, error) {
	one := checkedSession{Line: s.Line, Session: s.Ref, Errors: s.Faults}
	if len(s.Faults) > 0 {
		return one, nil
	}
	raw, err := s.Document(nil)
	if err != nil {
		return one, err
	}
	one.Receipt, err = checkSession(ctx, raw, intake.JudgeOptions{Derivation: true, Library: library, Conclude: true})
	if refusal, ok := errors.AsType[*fieldtest.Refusal](err); ok {
		one.Errors = s.Locate(refusal.Faults)
		return one, nil
	}
	return one, err
}

func printTable(w io.Writer, table *sheet.Table, all []checkedSession, explained bool) {
	for _, note := range table.Notes {
		fmt.Fprintln(w, note)
	}
	for _, one := range all {
		fmt.Fprintf(w, "\nSession %sfrom line %d\n", named(one.Session), one.Line)
		if one.Receipt != nil {
			printReceipt(w, one.Receipt, explained)
			continue
		}
		fmt.Fprintln(w, "Refused:")
		for _, f := range one.Errors {
			fmt.Fprintf(w, "  line %d, column %s: %s (%s)\n", f.Line, orRow(f.Column), f.Reason, f.Code)
		}
	}
}

func orRow(column string) string {
	if column == "" {
		return "any"
	}
	return column
}

// splitList parts a list by commas; nothing is no list.
func splitList(text string) []string {
	if text == "" {
		return nil
	}
	return strings.Split(text, ",")
}

// named quotes a session's name; one without is told by its line alone.
func named(session string) string {
	if session == "" {
		return ""
	}
	return fmt.Sprintf("%q ", session)
}
