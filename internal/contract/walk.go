package contract

import (
	"bytes"
	"io"
	"slices"
	"strconv"
	"unicode/utf8"

	"evensun/internal/fieldtest"

	"github.com/go-json-experiment/json/jsontext"
)

// maxFaults is how many faults are told one by one; the rest are counted.
const maxFaults = 100

// A walk reads a body once and notes what the schema does not allow. Faults come in
// document order because they are noted where they are met; a missing member is
// noted at the end of its object.
type walk struct {
	dec     *jsontext.Decoder
	faults  []fieldtest.Fault
	omitted int
	scratch []byte
}

func newWalk(raw []byte) *walk {
	return &walk{dec: jsontext.NewDecoder(bytes.NewBuffer(raw))} // a Buffer is read in place
}

// end refuses anything behind the value.
func (w *walk) end() error {
	_, err := w.dec.ReadToken()
	if err == io.EOF {
		return nil
	}
	return &jsontext.SyntacticError{ByteOffset: w.dec.InputOffset(), Err: errTrailing}
}

// note records a fault of the value that was read last.
func (w *walk) note(f fieldtest.Fault) {
	w.noteAt(pointer(w.dec.StackPointer()), f)
}

func (w *walk) noteAt(where string, f fieldtest.Fault) {
	if len(w.faults) == maxFaults {
		w.omitted++
		return
	}
	f.Pointer = where
	w.faults = append(w.faults, f)
}

// value checks the next value against n.
func (w *walk) value(n *node) error {
	switch w.dec.PeekKind() {
	case '{':
		if n.kind == object {
			return w.object(n)
		}
	case '[':
		if n.kind == array {
			return w.array(n)
		}
	case '"':
		if n.kind == text {
			return w.text(n)
		}
	case '0':
		if n.kind == number || n.kind == integer {
			return w.number(n)
		}
	case 't', 'f':
		if n.kind == boolean {
			return w.dec.SkipValue()
		}
	case 'n':
		if n.nullable {
			return w.dec.SkipValue()
		}
	}
	return w.other(n)
}

// other reads a value of another type than asked for.
func (w *walk) other(n *node) error {
	v, err := w.dec.ReadValue()
	if err != nil {
		return err
	}
	if n.kind == anything {
		return nil
	}
	w.note(wrongType(n, v))
	return nil
}

func (w *walk) object(n *node) error {
	if _, err := w.dec.ReadToken(); err != nil {
		return err
	}
	var seen uint64 // bits of n.required
	for w.dec.PeekKind() != '}' {
		name, err := w.name()
		if err != nil {
			return err
		}
		m, known := n.members[string(name)]
		needed := slices.Index(n.required, string(name)) // name is gone at the next peek
		switch {
		case !known && n.closed:
			w.note(unknownMember(n, string(name)))
			err = w.dec.SkipValue()
		case !known:
			err = w.dec.SkipValue()
		case w.dec.PeekKind() == 'n': // as if left out
			err = w.dec.SkipValue()
		default:
			if needed >= 0 {
				seen |= 1 << needed
			}
			err = w.value(m)
		}
		if err != nil {
			return err
		}
	}
	if _, err := w.dec.ReadToken(); err != nil {
		return err
	}
	if seen != 1<<len(n.required)-1 {
		w.missing(n, seen, pointer(w.dec.StackPointer()))
	}
	return nil
}

func (w *walk) missing(n *node, seen uint64, here string) {
	for i, name := range n.required {
		if seen&(1<<i) == 0 {
			w.noteAt(here+Pointer(name)[1:], fieldtest.Fault{Code: "required", Reason: "Missing."})
		}
	}
}

// name reads a member's name.
func (w *walk) name() ([]byte, error) {
	v, err := w.dec.ReadValue()
	if err != nil {
		return nil, err
	}
	return w.unquote(v)
}

func (w *walk) unquote(v jsontext.Value) ([]byte, error) {
	if bytes.IndexByte(v, '\\') < 0 {
		return v[1 : len(v)-1], nil
	}
	var err error
	w.scratch, err = jsontext.AppendUnquote(w.scratch[:0], v)
	return w.scratch, err
}

func (w *walk) array(n *node) error {
	if _, err := w.dec.ReadToken(); err != nil {
		return err
	}
	count := 0
	for ; w.dec.PeekKind() != ']'; count++ {
		var err error
		if n.maxItems >= 0 && count >= n.maxItems {
			err = w.dec.SkipValue() // told once, at the end
		} else {
			err = w.value(n.items)
		}
		if err != nil {
			return err
		}
	}
	if _, err := w.dec.ReadToken(); err != nil {
		return err
	}
	if count < n.minItems {
		w.note(tooFew(count, n.minItems))
	}
	if n.maxItems >= 0 && count > n.maxItems {
		w.note(tooMany(count, n.maxItems))
	}
	return nil
}

func (w *walk) text(n *node) error {
	v, err := w.dec.ReadValue()
	if err != nil {
		return err
	}
	s, err := w.unquote(v)
	if err != nil {
		return err
	}
	if f, bad := textFault(n, s); bad {
		w.note(f)
	}
	return nil
}

func (w *walk) number(n *node) error {
	v, err := w.dec.ReadValue()
	if err != nil {
		return err
	}
	if f, bad := numberFault(n, string(v)); bad {
		w.note(f)
	}
	return nil
}

// textFault returns what is wrong with a text, if anything is.
func textFault(n *node, s []byte) (fieldtest.Fault, bool) {
	length := utf8.RuneCount(s)
	switch {
	case len(n.allowed) > 0 && !slices.Contains(n.allowed, string(s)):
		return notOneOf(n, string(s)), true
	case length < n.minLength:
		return tooShort(n, string(s)), true
	case n.maxLength >= 0 && length > n.maxLength:
		return tooLong(n, string(s)), true
	case n.pattern != nil && !n.pattern.Match(s):
		return wrongForm(n, string(s)), true
	}
	return formatFault(n, string(s))
}

// numberFault returns what is wrong with a number, if anything is.
func numberFault(n *node, s string) (fieldtest.Fault, bool) {
	x, err := strconv.ParseFloat(s, 64)
	switch {
	case err != nil:
		return tooLarge(n, s), true
	case n.kind == integer && x != float64(int64(x)):
		return notInteger(x), true
	case n.min != nil && (x < *n.min || n.exMin && x == *n.min):
		return outOfRange(n, x, *n.min, above(n.exMin)), true
	case n.max != nil && (x > *n.max || n.exMax && x == *n.max):
		return outOfRange(n, x, *n.max, below(n.exMax)), true
	case len(n.allowedNumbers) > 0 && !slices.Contains(n.allowedNumbers, x):
		return notOneOfNumbers(n, x), true
	}
	return fieldtest.Fault{}, false
}
