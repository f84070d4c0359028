package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"evensun/internal/contract"
	"evensun/internal/explain"
	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/sheet"
)

// check judges a session file as a dry run would, without server or database. It exits
// with 1 where the session would be refused.
func check(ctx context.Context, std streams, args []string) error {
	flags := flag.NewFlagSet("check", flag.ContinueOnError)
	asJSON := flags.Bool("json", false, "print the API's answer with every derivation")
	method := flags.String("method", "", "simple_power, procedure_1 to procedure_4")
	explained := flags.Bool("explain", false, "say in sentences how each result was computed")
	var table sheet.Options
	decimal := flags.String("decimal", "point", "point or comma, in a table")
	flags.StringVar(&table.UTCOffset, "utc-offset", "", "of a table's times that do not say theirs, as +02:00")
	ignored := flags.String("ignore", "", "columns of a table to pass over, joined by commas")
	names, err := intermixed(flags, std.err, args)
	if err != nil {
		return err
	}
	if len(names) != 1 {
		return &misuse{"needs one session file, or - for standard input"}
	}
	raw, err := readFile(std.in, names[0])
	if err != nil {
		return &misuse{err.Error()}
	}
	if kind := strings.ToLower(filepath.Ext(names[0])); slices.Contains([]string{".csv", ".tsv", ".xlsx"}, kind) {
		if *decimal != "point" && *decimal != "comma" {
			return &misuse{"--decimal takes point or comma"}
		}
		table.Workbook, table.DecimalComma, table.Ignore = kind == ".xlsx", *decimal == "comma", splitList(*ignored)
		return checkTable(ctx, std.out, raw, table, *asJSON, *explained)
	}
	receipt, err := checkSession(ctx, raw, intake.JudgeOptions{Derivation: true, Method: *method, Conclude: true})
	refusal, refused := errors.AsType[*fieldtest.Refusal](err)
	switch {
	case refused && *asJSON:
		err = printJSON(std.out, problem{refusal.Kind, refusal.Detail, refusal.Faults})
	case refused:
		printRefusal(std.out, refusal)
		err = nil
	case err != nil:
		return err
	case *asJSON:
		return printJSON(std.out, receipt)
	default:
		printReceipt(std.out, receipt, *explained)
		return nil
	}
	if err != nil {
		return err
	}
	return errRefused
}

func checkSession(ctx context.Context, raw []byte, opts intake.JudgeOptions) (*fieldtest.Receipt, error) {
	session, err := contract.Session(raw, time.Now())
	if err != nil {
		return nil, err
	}
	return intake.Offline(ctx, session, opts)
}

func readFile(in io.Reader, name string) ([]byte, error) {
	if name == "-" {
		return io.ReadAll(in)
	}
	return os.ReadFile(name)
}

// problem is a refusal in the members that the API's problem documents give it.
type problem struct {
	Code   fieldtest.RefusalKind `json:"code"`
	Detail string                `json:"detail"`
	Errors []fieldtest.Fault     `json:"errors"`
}

// printJSON writes a value as the API does, lists that are empty as [].
func printJSON[T any](w io.Writer, value T) error {
	if err := json.MarshalWrite(w, value, json.Deterministic(true), jsontext.WithIndent(" ")); err != nil {
		return err
	}
	_, err := io.WriteString(w, "\n")
	return err
}

func printRefusal(w io.Writer, r *fieldtest.Refusal) {
	fmt.Fprintf(w, "Refused: %s\n", r.Detail)
	for _, f := range r.Faults {
		fmt.Fprintf(w, "\n  %s%s  %s\n", f.Pointer, f.Parameter, f.Code)
		if f.Value != nil && f.Limit != nil {
			must := strings.Join(strings.Fields(fmt.Sprint(f.Relation, " ", f.Limit, " ", f.Unit)), " ") // a type has neither relation nor unit
			fmt.Fprintf(w, "    is %v, must be %s\n", f.Value, must)
		}
		fmt.Fprintf(w, "    %s\n", f.Reason)
	}
}

func printReceipt(w io.Writer, r *fieldtest.Receipt, explained bool) {
	for i := range r.Readings {
		printReading(w, &r.Readings[i])
		if explained {
			for _, paragraph := range explain.Paragraphs(r.Readings[i].Derivation) {
				fmt.Fprintf(w, "    %s\n", paragraph)
			}
		}
	}
	for _, c := range r.Conclusions {
		fmt.Fprintf(w, "\n%s\n", concluded(&c))
	}
	for i := range r.Findings {
		printFinding(w, &r.Findings[i])
	}
	for _, c := range r.Cautions {
		fmt.Fprintf(w, "\nCaution (%s): %s\n", c.Level, c.Text)
	}
}

// concluded is what a session says of the wiring of one unit.
func concluded(c *fieldtest.SessionConclusion) string {
	name := c.Specimen
	if c.PanelModel != nil {
		name = *c.PanelModel + " " + name
	}
	text := "Wiring of " + name + ": " + c.Wiring.Sentence
	if c.Wiring.Decides != nil {
		text += "\n  " + c.Wiring.Decides.Sentence
	}
	return text
}

func printReading(w io.Writer, r *fieldtest.JudgedReading) {
	fmt.Fprintf(w, "%s  %s, %s: ", r.Label, r.Arrangement, r.State)
	switch {
	case r.Result == nil && r.ResultReason != nil:
		fmt.Fprintf(w, "no result (%s): %s\n", *r.ResultReason, explain.Reason(*r.ResultReason, false))
	case r.Result == nil:
		fmt.Fprintln(w, "no result")
	default:
		printResult(w, r.Result)
	}
	for i := range r.Findings {
		printFinding(w, &r.Findings[i])
	}
}

func printResult(w io.Writer, r *fieldtest.Result) {
	fmt.Fprintf(w, "%.1f W at standard test conditions, %.1f to %.1f W at 95 %%", r.StcPowerW, r.StcPowerLoW, r.StcPowerHiW)
	if r.ShareOfRating != nil {
		fmt.Fprintf(w, ", %.1f %% of rated", 100**r.ShareOfRating)
	}
	fmt.Fprintf(w, "\n    by %s from %.0f W/m2 on the cells (%s), cells at %.1f C (%s)\n", r.Method, r.EffectiveWM2, explain.Light(string(r.IrradianceOrigin)), r.CellC, r.CellMethod)
	if !r.Rankable {
		fmt.Fprintf(w, "    not ranked (%s): %s\n", r.RankableReason, explain.Reason(r.RankableReason, true))
	}
	if k := r.Retention; k != nil {
		fmt.Fprintf(w, "    %s %.3f, standard uncertainty %.3f, against %s\n", k.Measure, k.Value, k.U, k.ReferenceLabel)
	}
	for _, d := range r.Defaults {
		fmt.Fprintf(w, "    assumed: %s\n", d)
	}
}

func printFinding(w io.Writer, f *fieldtest.Finding) {
	fmt.Fprintf(w, "    %s %s at %s: %s\n", f.Severity, f.Rule, f.Pointer, f.Reason)
}
