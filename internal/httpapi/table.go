package httpapi

import (
	"encoding"
	"encoding/csv"
	"io"
	"reflect"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/labstack/echo/v4"
)

// A column of a table is a member of a JSON object, nested members joined by two
// underscores. Columns follow the order of the Go struct, so they never move.
type column struct {
	name  string
	index []int
}

// columnsOf returns the columns of a struct type.
func columnsOf(t reflect.Type, prefix string, at []int) []column {
	var all []column
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		index := append(at[:len(at):len(at)], i)
		if name == "-" || !f.IsExported() {
			continue
		}
		inner := f.Type
		if inner.Kind() == reflect.Pointer {
			inner = inner.Elem()
		}
		switch {
		case f.Anonymous && name == "":
			all = append(all, columnsOf(inner, prefix, index)...)
		case nested(inner):
			all = append(all, columnsOf(inner, prefix+name+"__", index)...)
		default:
			all = append(all, column{name: prefix + name, index: index})
		}
	}
	return all
}

func nested(t reflect.Type) bool {
	return t.Kind() == reflect.Struct && !t.Implements(textMarshaler) && !reflect.PointerTo(t).Implements(textMarshaler)
}

var textMarshaler = reflect.TypeFor[encoding.TextMarshaler]()

// cell returns the text of one value: empty for unknown, JSON for lists and maps.
func cell(v reflect.Value, index []int) (string, error) {
	for _, i := range index {
		if v.Kind() == reflect.Pointer {
			if v.IsNil() {
				return "", nil
			}
			v = v.Elem()
		}
		v = v.Field(i)
	}
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return "", nil
		}
		v = v.Elem()
	}
	switch x := v.Interface().(type) {
	case time.Time:
		return x.UTC().Format(time.RFC3339Nano), nil
	case encoding.TextMarshaler:
		text, err := x.MarshalText()
		return string(text), err
	}
	return plain(v)
}

func plain(v reflect.Value) (string, error) {
	switch v.Kind() {
	case reflect.Float64:
		return strconv.FormatFloat(v.Float(), 'g', -1, 64), nil
	case reflect.Int, reflect.Int64:
		return strconv.FormatInt(v.Int(), 10), nil
	case reflect.Bool:
		return strconv.FormatBool(v.Bool()), nil
	case reflect.String:
		return harmless(v.String()), nil
	}
	if v.Kind() == reflect.Slice && v.Len() == 0 || v.Kind() == reflect.Map && v.Len() == 0 {
		return "", nil
	}
	raw, err := marshal(v.Interface())
	return string(raw), err
}

// harmless keeps a text that a spreadsheet would run as a formula from running, by a
// quotation mark before it (OWASP, CSV injection; some run the full-width signs too).
// Numbers are never touched.
func harmless(s string) string {
	const starts = "=+-@\t\r\n＝＋－＠"
	if first, size := utf8.DecodeRuneInString(s); size > 0 && strings.ContainsRune(starts, first) {
		return "'" + s
	}
	return s
}

// A rowWriter writes items as CSV (RFC 4180) or JSON Lines.
type rowWriter[T any] struct {
	out     io.Writer
	format  format
	csv     *csv.Writer
	columns []column
	bom     bool
}

func newRowWriter[T any](c echo.Context, out io.Writer, f format) *rowWriter[T] {
	w := &rowWriter[T]{out: out, format: f, bom: c.QueryParam("bom") == "true"}
	if f == asCSV {
		w.csv = csv.NewWriter(out)
		w.csv.UseCRLF = true
		w.columns = columnsOf(reflect.TypeFor[T](), "", nil)
	}
	return w
}

func (w *rowWriter[T]) head() error {
	if w.format != asCSV {
		return nil
	}
	if w.bom {
		if _, err := io.WriteString(w.out, "\ufeff"); err != nil {
			return err
		}
	}
	names := make([]string, len(w.columns))
	for i, col := range w.columns {
		names[i] = col.name
	}
	return w.csv.Write(names)
}

func (w *rowWriter[T]) row(item T) error {
	if w.format != asCSV {
		raw, err := marshal(item)
		if err != nil {
			return err
		}
		_, err = w.out.Write(append(raw, '\n'))
		return err
	}
	cells := make([]string, len(w.columns))
	for i, col := range w.columns {
		text, err := cell(reflect.ValueOf(item), col.index)
		if err != nil {
			return err
		}
		cells[i] = text
	}
	return w.csv.Write(cells)
}

func (w *rowWriter[T]) flush() error {
	if w.csv == nil {
		return nil
	}
	w.csv.Flush()
	return w.csv.Error()
}
