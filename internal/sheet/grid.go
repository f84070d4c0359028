package sheet

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"evensun/internal/fieldtest"
)

// A row of a grid with the line it stands on, from 1.
type row struct {
	line  int
	cells []string
}

// A grid is a table as text. Of a workbook its times may be counts of days.
type grid struct {
	header   row
	rows     []row
	workbook bool
}

// Bounds of a table: readings by the interface, the rest so that nobody is kept waiting
// (common practice, no source).
const (
	mostRows     = 20000
	mostColumns  = 200
	mostUnpacked = 64 << 20 // bytes of a workbook once unpacked
)

var byteOrderMark = []byte("\ufeff")

// readCSV reads a table of text.
func readCSV(raw []byte) (*grid, error) {
	raw = bytes.TrimPrefix(raw, byteOrderMark)
	if !utf8.Valid(raw) {
		return nil, unreadable("not_utf8", "The table is not in UTF-8. Save it as CSV in UTF-8.")
	}
	comma, raw := separator(raw)
	in := csv.NewReader(bytes.NewReader(raw))
	in.Comma, in.FieldsPerRecord, in.TrimLeadingSpace = comma, -1, comma != '\t'
	g := &grid{}
	for {
		cells, err := in.Read()
		if errors.Is(err, io.EOF) {
			return g.checked()
		}
		if parse, ok := errors.AsType[*csv.ParseError](err); ok {
			return nil, unreadable("not_csv", fmt.Sprintf("Line %d cannot be read: a quote stands inside a cell or is not closed.", parse.Line))
		}
		if err != nil {
			return nil, fmt.Errorf("read a table: %w", err)
		}
		line, _ := in.FieldPos(0)
		g.add(row{line: line, cells: cells})
		if len(g.rows) > mostRows {
			return g.checked()
		}
	}
}

// separator returns what stands between cells: what the first line has most of, outside
// quotes. Spreadsheets may say it in a line "sep=;" of its own.
func separator(raw []byte) (rune, []byte) {
	first, rest, _ := bytes.Cut(raw, []byte("\n"))
	line := strings.TrimRight(string(first), "\r")
	if said, ok := strings.CutPrefix(strings.ToLower(line), "sep="); ok && len(said) == 1 {
		return rune(said[0]), append([]byte("\n"), rest...)
	}
	best, most, quoted := ',', 0, false
	count := map[rune]int{}
	for _, r := range line {
		if r == '"' {
			quoted = !quoted
		}
		if !quoted {
			count[r]++
		}
	}
	for _, r := range []rune{',', ';', '\t'} {
		if count[r] > most {
			best, most = r, count[r]
		}
	}
	return best, raw
}

// readWorkbook reads the first sheet of a workbook in Office Open XML.
func readWorkbook(raw []byte) (*grid, error) {
	book, err := excelize.OpenReader(bytes.NewReader(raw), excelize.Options{RawCellValue: true, UnzipSizeLimit: mostUnpacked, UnzipXMLSizeLimit: mostUnpacked})
	if err != nil {
		return nil, unreadable("not_a_workbook", "The file is no workbook that can be read. Save it as .xlsx without a password, or as CSV.")
	}
	defer func() { _ = book.Close() }() // read only, nothing to lose
	cells, err := book.Rows(book.GetSheetName(0))
	if err != nil {
		return nil, unreadable("not_a_workbook", "The first sheet of the workbook cannot be read.")
	}
	g := &grid{workbook: true}
	for line := 1; cells.Next() && len(g.rows) <= mostRows; line++ {
		columns, err := cells.Columns()
		if err != nil {
			return nil, unreadable("not_a_workbook", fmt.Sprintf("Row %d of the first sheet cannot be read.", line))
		}
		g.add(row{line: line, cells: columns})
	}
	return g.checked()
}

// add takes a row; empty ones, which spreadsheets leave at the end, are passed over.
func (g *grid) add(r row) {
	empty := true
	for i := range r.cells {
		r.cells[i] = strings.TrimSpace(r.cells[i])
		empty = empty && r.cells[i] == ""
	}
	switch {
	case empty:
	case g.header.line == 0:
		g.header = r
	default:
		g.rows = append(g.rows, r)
	}
}

func (g *grid) checked() (*grid, error) {
	switch {
	case g.header.line == 0:
		return nil, unreadable("empty", "The table is empty. Its first row names the columns.")
	case len(g.header.cells) > mostColumns:
		return nil, unreadable("too_many_columns", fmt.Sprintf("The table has %d columns; at most %d are read.", len(g.header.cells), mostColumns))
	case len(g.rows) == 0:
		return nil, unreadable("no_readings", "There is no reading below the column names.")
	case len(g.rows) > mostRows:
		return nil, unreadable("too_many_readings", fmt.Sprintf("The table has more than %d readings. Send it in parts.", mostRows))
	}
	return g, nil
}

func unreadable(code, reason string) *fieldtest.Refusal {
	return &fieldtest.Refusal{Kind: fieldtest.ValidationFailed, Detail: "The table cannot be read. Nothing was stored.",
		Faults: []fieldtest.Fault{{Pointer: "#", Code: code, Reason: reason}}}
}
