package combine

import (
	"bufio"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

const (
	maxFaults   = 100   // faults listed
	largest     = 1e100 // of a value, so that no square overflows
	smallest    = 1e-100
	longestName = 200 // bytes of a panel, tester, ...
)

// groupings are the columns of names, panel first.
var groupings = [...]string{"panel", "tester", "rig", "session", "specimen"}

const (
	valueColumn       = "value"
	uncertaintyColumn = "standard_uncertainty"
)

// A table is the readings by column.
type table struct {
	value       []float64
	uncertainty []float64         // nil: no such column
	factors     map[string]factor // the groupings that the header names
	unused      []string          // other columns
	smallestAt  int               // line of the smallest uncertainty
}

// A factor is a grouping: the readings' levels as codes, names in byte order.
type factor struct {
	names []string
	codes []int32
}

// reader reads one table.
type reader struct {
	csv    *csv.Reader
	header []string
	levels map[string]*levels
	out    table
	faults TableError
	least  float64 // uncertainty so far
}

// levels collects the names of a grouping in the order of their first row.
type levels struct {
	known map[string]int32
	codes []int32
}

// readTable returns the readings of a CSV table row by row, or a *TableError with
// all that is wrong with them.
func readTable(ctx context.Context, r io.Reader) (*table, error) {
	in := &reader{csv: csv.NewReader(withoutMark(r)), levels: map[string]*levels{}}
	in.csv.ReuseRecord = true
	if err := in.readHeader(); err != nil {
		return nil, err
	}
	for row := 0; ; row++ {
		if row%4096 == 0 && ctx.Err() != nil {
			return nil, fmt.Errorf("read row %d: %w", row, ctx.Err())
		}
		record, err := in.csv.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err := in.readRow(record, err); err != nil {
			return nil, fmt.Errorf("read row %d: %w", row, err)
		}
	}
	if len(in.faults.Rows) == 0 && len(in.out.value) == 0 {
		in.fault(1, "", "", "no readings below the header")
	}
	if len(in.faults.Rows) > 0 {
		return nil, &in.faults
	}
	return in.finish(), nil
}

// withoutMark skips a byte order mark, which spreadsheets put first.
func withoutMark(r io.Reader) io.Reader {
	b := bufio.NewReaderSize(r, 1<<16)
	if start, err := b.Peek(3); err == nil && string(start) == "\ufeff" {
		_, _ = b.Discard(3) // just peeked, cannot fail
	}
	return b
}

func (in *reader) readHeader() error {
	record, err := in.csv.Read()
	if errors.Is(err, io.EOF) {
		in.fault(1, "", "", "empty file: a header with value and panel is needed")
		return &in.faults
	}
	if parse, ok := errors.AsType[*csv.ParseError](err); ok {
		in.fault(parse.Line, "", "", quoteReason(parse.Err))
		return &in.faults
	}
	if err != nil {
		return fmt.Errorf("read header: %w", err)
	}
	for _, name := range record {
		in.addColumn(strings.TrimSpace(name))
	}
	for _, name := range []string{valueColumn, "panel"} {
		if !slices.Contains(in.header, name) {
			in.fault(1, "", "", "the header lacks the column "+name+headerHint(record, name))
		}
	}
	if len(in.faults.Rows) > 0 {
		return &in.faults
	}
	return nil
}

// headerHint guesses why a header lacks a column.
func headerHint(header []string, name string) string {
	text := strings.Join(header, "")
	switch {
	case strings.ContainsRune(text, 0) || !utf8.ValidString(text):
		return "; save the file as UTF-8"
	case len(header) == 1 && strings.ContainsAny(text, ";\t"):
		return "; columns are separated by commas, not by semicolons or tabs"
	case strings.HasPrefix(strings.TrimSpace(text), "#"):
		return "; the first line is the header, comments are not read"
	case slices.ContainsFunc(header, func(h string) bool { return strings.EqualFold(strings.TrimSpace(h), name) }):
		return "; write its name in small letters"
	}
	return ""
}

func (in *reader) addColumn(name string) {
	known := name == valueColumn || name == uncertaintyColumn || slices.Contains(groupings[:], name)
	switch {
	case known && slices.Contains(in.header, name):
		in.fault(1, name, name, reasonTwice)
	case !known:
		in.out.unused = append(in.out.unused, clip(name))
	case name != valueColumn && name != uncertaintyColumn:
		in.levels[name] = &levels{known: map[string]int32{}}
	}
	in.header = append(in.header, strings.Clone(name))
}

// readRow takes one record, with the error that came with it.
func (in *reader) readRow(record []string, err error) error {
	if parse, ok := errors.AsType[*csv.ParseError](err); ok {
		reason := quoteReason(parse.Err)
		if errors.Is(err, csv.ErrFieldCount) {
			reason = fmt.Sprint(len(record), otherThanHeader, len(in.header))
		}
		in.fault(parse.StartLine, "", "", reason)
		return nil
	}
	if err != nil {
		return err
	}
	for c, text := range record {
		in.readField(c, text)
	}
	return nil
}

// quoteReason says in words what is wrong with the quotes of a row.
func quoteReason(err error) string {
	switch {
	case errors.Is(err, csv.ErrBareQuote):
		return "a quote inside a field: put the field in quotes and write that quote twice"
	case errors.Is(err, csv.ErrQuote):
		return "a quoted field does not end where it should: quotes inside it are written twice"
	}
	return err.Error()
}

func (in *reader) readField(c int, text string) {
	name := in.header[c]
	switch name {
	case valueColumn:
		in.out.value = append(in.out.value, in.number(c, text, -largest))
	case uncertaintyColumn:
		u := in.number(c, text, smallest)
		if len(in.out.uncertainty) == 0 || u < in.least {
			in.least = u
			in.out.smallestAt, _ = in.csv.FieldPos(c)
		}
		in.out.uncertainty = append(in.out.uncertainty, u)
	default:
		if l := in.levels[name]; l != nil {
			in.addLevel(c, l, text)
		}
	}
}

// number returns the number of a field that is at least lowest, after noting a fault.
func (in *reader) number(c int, text string, lowest float64) float64 {
	x, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if strings.ContainsAny(text, "xX_") { // 0x1p-2 and 1_000 are numbers to Go only
		err = strconv.ErrSyntax
	}
	reason := ""
	switch {
	case strings.TrimSpace(text) == "":
		reason = reasonEmpty
	case err != nil && !errors.Is(err, strconv.ErrRange):
		reason = reasonNotNumber
	case math.IsNaN(x) || math.IsInf(x, 0) || x > largest || x < -largest:
		reason = reasonNotFinite
	case lowest > 0 && x <= 0:
		reason = reasonNotPositive
	case x < lowest:
		reason = reasonTooSmall
	}
	if reason != "" {
		in.faultAt(c, text, reason)
	}
	return x
}

func (in *reader) addLevel(c int, l *levels, text string) {
	name := strings.TrimSpace(text)
	code, ok := l.known[name]
	if !ok {
		if reason := badName(name); reason != "" {
			in.faultAt(c, text, reason)
			return
		}
		code = int32(len(l.known))
		l.known[strings.Clone(name)] = code
	}
	l.codes = append(l.codes, code)
}

// badName returns why a name cannot stand, and nothing where it can.
func badName(name string) string {
	switch {
	case name == "":
		return reasonEmpty
	case len(name) > longestName:
		return reasonLong
	case !utf8.ValidString(name):
		return reasonNotUTF8
	case strings.ContainsFunc(name, unicode.IsControl):
		return reasonControl
	}
	return ""
}

func (in *reader) faultAt(c int, text, reason string) {
	line, _ := in.csv.FieldPos(c)
	in.fault(line, in.header[c], text, reason)
}

func (in *reader) fault(line int, column, text, reason string) {
	if len(in.faults.Rows) >= maxFaults {
		in.faults.More++
		return
	}
	in.faults.Rows = append(in.faults.Rows, RowError{Line: line, Column: column, Value: clip(text), Reason: reason})
}

// clip returns a copy of at most 60 bytes, ending with a whole character.
func clip(text string) string {
	const most = 60
	if len(text) > most {
		end := most
		for end > 0 && !utf8.RuneStart(text[end]) {
			end--
		}
		text = text[:end]
	}
	return strings.ToValidUTF8(strings.Clone(text), "\ufffd")
}

// finish renumbers the levels in the byte order of their names, so that the order
// of rows does not decide about the order of sums.
func (in *reader) finish() *table {
	in.out.factors = map[string]factor{}
	for name, l := range in.levels {
		in.out.factors[name] = l.sorted()
	}
	return &in.out
}

func (l *levels) sorted() factor {
	f := factor{names: make([]string, 0, len(l.known)), codes: l.codes}
	for name := range l.known {
		f.names = append(f.names, name)
	}
	slices.Sort(f.names)
	renumber := make([]int32, len(f.names))
	for i, name := range f.names {
		renumber[l.known[name]] = int32(i)
	}
	for k, c := range f.codes {
		f.codes[k] = renumber[c]
	}
	return f
}
