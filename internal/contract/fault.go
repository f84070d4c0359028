package contract

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"evensun/internal/fieldtest"

	"github.com/go-json-experiment/json/jsontext"
)

var errTrailing = errors.New("something follows the JSON value")

// Pointer returns the JSON pointer to a member in URI-fragment form (RFC 6901
// section 6): Pointer("readings", "3", "voltage_v") is "#/readings/3/voltage_v".
func Pointer(parts ...string) string {
	var b strings.Builder
	for _, p := range parts {
		b.WriteByte('/')
		b.WriteString(strings.ReplaceAll(strings.ReplaceAll(p, "~", "~0"), "/", "~1"))
	}
	return pointer(jsontext.Pointer(b.String()))
}

// maxPointer is longer than any pointer into what the description allows.
const maxPointer = 256

// pointer returns p for people. What was sent may be nested without end or have names of
// any length; a pointer that would repeat it names the nearest value around it instead.
func pointer(p jsontext.Pointer) string {
	for len(p) > maxPointer {
		p = p.Parent()
	}
	u := url.URL{Fragment: string(p)}
	return "#" + u.EscapedFragment()
}

// Cut returns at most 64 characters of s, for echoing what was sent.
func Cut(s string) string {
	if utf8.RuneCountInString(s) <= 64 {
		return s
	}
	return string([]rune(s)[:63]) + "…"
}

func wrongType(n *node, v jsontext.Value) fieldtest.Fault {
	f := fieldtest.Fault{Code: "wrong_type", Limit: typeName(n.kind), Unit: n.unit, Reason: "Must be " + typeWords(n.kind) + ", is " + foundWords(v.Kind()) + "."}
	switch v.Kind() {
	case '"':
		s, _ := jsontext.AppendUnquote(nil, v)
		f.Value = Cut(string(s))
		if _, err := strconv.ParseFloat(string(s), 64); err == nil && (n.kind == number || n.kind == integer) {
			f.Reason = "Must be a number; take off the quotation marks."
		}
	case '0':
		if x, err := strconv.ParseFloat(string(v), 64); err == nil {
			f.Value = x
		}
	case 't', 'f':
		f.Value = v.Kind() == 't'
	}
	return f
}

func typeName(k kind) string {
	return [...]string{"any", "object", "array", "string", "number", "integer", "boolean"}[k]
}

func typeWords(k kind) string {
	return [...]string{"anything", "an object", "a list", "a text", "a number", "a whole number", "true or false"}[k]
}

func foundWords(k jsontext.Kind) string {
	switch k {
	case '{':
		return "an object"
	case '[':
		return "a list"
	case '"':
		return "a text"
	case '0':
		return "a number"
	case 'n':
		return "null"
	}
	return "true or false"
}

func unknownMember(n *node, name string) fieldtest.Fault {
	reason := fmt.Sprintf("There is no member %q here.", Cut(name))
	if near, ok := nearest(name, n.members); ok {
		reason += fmt.Sprintf(" Is %q meant?", near)
	}
	return fieldtest.Fault{Code: "unknown_member", Value: Cut(name), Reason: reason}
}

func tooFew(count, least int) fieldtest.Fault {
	return fieldtest.Fault{Code: "too_few", Value: count, Limit: least, Relation: ">=", Reason: fmt.Sprintf("Must hold at least %d, holds %d.", least, count)}
}

func tooMany(count, most int) fieldtest.Fault {
	return fieldtest.Fault{Code: "too_many", Value: count, Limit: most, Relation: "<=", Reason: fmt.Sprintf("May hold at most %d, holds %d.", most, count)}
}

func tooShort(n *node, s string) fieldtest.Fault {
	reason := fmt.Sprintf("Must be at least %d characters long.", n.minLength)
	if s == "" {
		reason = "Must not be empty."
	}
	return fieldtest.Fault{Code: "too_short", Value: s, Limit: n.minLength, Relation: ">=", Reason: reason}
}

func tooLong(n *node, s string) fieldtest.Fault {
	return fieldtest.Fault{Code: "too_long", Value: Cut(s), Limit: n.maxLength, Relation: "<=", Reason: fmt.Sprintf("May be at most %d characters long, is %d.", n.maxLength, utf8.RuneCountInString(s))}
}

func wrongForm(n *node, s string) fieldtest.Fault {
	reason, ok := forms[n.pattern.String()]
	if !ok {
		reason = "Does not have the form that is asked for."
	}
	return fieldtest.Fault{Code: "wrong_form", Value: Cut(s), Limit: n.pattern.String(), Reason: reason}
}

// forms says in words what each pattern of the description asks for.
var forms = map[string]string{
	`^[A-Za-z0-9._:-]{1,64}$`:       "May hold 1 to 64 of the letters a-z, A-Z, digits, and . _ : -.",
	`^[a-z0-9]+(-[a-z0-9]+)*$`:      "A slug is lower-case letters and digits in groups joined by single hyphens, as tarn-fold-200.",
	`^[A-Z]{3}$`:                    "A currency is three capital letters (ISO 4217), as EUR.",
	`^[A-Z]{2}$`:                    "A region is two capital letters (ISO 3166-1), as NO.",
	`^[0-9]{1,9}(\.[0-9]{1,4})?$`:   "An amount is digits with a decimal point, as 189.00.",
	`^[a-z0-9_]{1,60}$`:             "A rule's id is lower-case letters, digits and _.",
	`^[0-9A-Za-z]{10}$`:             "A key's id is 10 letters and digits.",
	`^"?[A-Za-z0-9._:-]{16,128}"?$`: "A key may hold 16 to 128 of the letters a-z, A-Z, digits, and . _ : -.",
	`^-?[0-9]{1,2}(\.[0-9]+)?,-?[0-9]{1,3}(\.[0-9]+)?,[0-9]{1,5}(\.[0-9]+)?$`: "A place is latitude,longitude,km, as 38.5,-106.0,50.",
}

func notOneOf(n *node, s string) fieldtest.Fault {
	return fieldtest.Fault{Code: "not_one_of", Value: Cut(s), Limit: n.allowed, Reason: "Must be one of " + strings.Join(n.allowed, ", ") + "."}
}

func notOneOfNumbers(n *node, x float64) fieldtest.Fault {
	words := make([]string, len(n.allowedNumbers))
	for i, a := range n.allowedNumbers {
		words[i] = short(a)
	}
	return fieldtest.Fault{Code: "not_one_of", Value: x, Limit: n.allowedNumbers, Unit: n.unit, Reason: "Must be one of " + strings.Join(words, ", ") + "."}
}

func tooLarge(n *node, s string) fieldtest.Fault {
	return fieldtest.Fault{Code: "out_of_range", Value: Cut(s), Unit: n.unit, Reason: "Is too large for a number of double precision."}
}

func notInteger(x float64) fieldtest.Fault {
	return fieldtest.Fault{Code: "wrong_type", Value: x, Limit: "integer", Reason: "Must be a whole number."}
}

func outOfRange(n *node, x, limit float64, relation string) fieldtest.Fault {
	words := map[string]string{">=": "at least", "<=": "at most", ">": "more than", "<": "less than"}[relation]
	unit := ""
	if n.unit != "" && n.unit != "1" {
		unit = " " + unitWord(n.unit)
	}
	return fieldtest.Fault{Code: "out_of_range", Value: x, Limit: limit, Relation: relation, Unit: n.unit, Reason: fmt.Sprintf("Must be %s %s%s, is %s.", words, short(limit), unit, short(x))}
}

func unitWord(ucum string) string {
	if ucum == "Cel" {
		return "C"
	}
	return ucum
}

func above(exclusive bool) string {
	if exclusive {
		return ">"
	}
	return ">="
}

func below(exclusive bool) string {
	if exclusive {
		return "<"
	}
	return "<="
}

func short(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// nearest returns the member whose name differs from name by the fewest changes,
// where that is at most two and fewer than the name has letters.
func nearest(name string, members map[string]*node) (string, bool) {
	if len(name) > 64 {
		return "", false
	}
	names := make([]string, 0, len(members))
	for m := range members {
		names = append(names, m)
	}
	slices.Sort(names)
	if m, ok := withUnit(name, names); ok {
		return m, true
	}
	most := min(3, len(name))
	best, least := "", most
	for _, m := range names {
		if d := changes(name, m); d < least {
			best, least = m, d
		}
	}
	return best, least < most
}

// withUnit returns the shortest of the names that is the name with an ending: most members
// end in their unit, which is what is left out most often.
func withUnit(name string, names []string) (string, bool) {
	best := ""
	for _, m := range names {
		if strings.HasPrefix(m, name+"_") && (best == "" || len(m) < len(best)) {
			best = m
		}
	}
	return best, best != ""
}

// changes returns the Levenshtein distance of a and b: how many bytes to insert,
// delete or replace (Levenshtein 1966).
func changes(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			diagonal, row[j+1] = row[j+1], min(row[j+1]+1, row[j]+1, diagonal+cost)
		}
	}
	return row[len(b)]
}

// nulIn finds a NUL character, which no text may hold.
func nulIn(raw []byte) (fieldtest.Fault, bool) {
	bad := bytes.IndexByte(raw, 0) >= 0
	for rest := raw; !bad; {
		i := bytes.Index(rest, []byte(`\u0000`))
		if i < 0 {
			break
		}
		slashes := 0
		for j := i; j >= 0 && rest[j] == '\\'; j-- {
			slashes++
		}
		bad = slashes%2 == 1
		rest = rest[i+6:]
	}
	return fieldtest.Fault{Pointer: "#", Code: "nul_character", Reason: "The body holds a NUL character."}, bad
}

func syntaxFault(raw []byte, e *jsontext.SyntacticError) fieldtest.Fault {
	f := fieldtest.Fault{Pointer: pointer(e.JSONPointer), Code: "not_json"}
	line, column := position(raw, e.ByteOffset)
	at := fmt.Sprintf(" Line %d, column %d.", line, column)
	switch {
	case errors.Is(e.Err, jsontext.ErrDuplicateName):
		f.Code, f.Reason = "duplicate_member", "This member stands there twice."+at
	case errors.Is(e.Err, errTrailing):
		f.Code, f.Reason = "trailing_bytes", "Something follows the JSON value."+at
	case !utf8.Valid(raw):
		f.Code, f.Reason = "not_utf8", "The body is not valid UTF-8."+at
	case bytes.HasPrefix(raw, []byte("\ufeff")):
		f.Code, f.Reason = "not_json", "The body begins with a byte order mark."
	case errors.Is(e.Err, io.ErrUnexpectedEOF):
		f.Reason = "The body ends too early." + at
	case isNotANumber(raw, e.ByteOffset):
		f.Code, f.Reason = "not_a_number", "NaN and Infinity are no JSON numbers. Leave out what is unknown."+at
	default:
		f.Reason = "This is not JSON." + at
	}
	return f
}

func isNotANumber(raw []byte, at int64) bool {
	rest := bytes.TrimLeft(raw[min(int(at), len(raw)):], "-+ \t\r\n")
	for _, word := range []string{"NaN", "nan", "Inf", "inf"} {
		if bytes.HasPrefix(rest, []byte(word)) {
			return true
		}
	}
	// The decoder stops at the second letter where the first could begin a word.
	start := bytes.TrimRight(raw[:min(int(at)+1, len(raw))], "aNn")
	return bytes.HasPrefix(raw[len(start):], []byte("nan")) || bytes.HasPrefix(raw[len(start):], []byte("NaN"))
}

// position returns line and column of a byte, both from 1.
func position(raw []byte, offset int64) (line, column int) {
	before := raw[:max(0, min(int(offset), len(raw)))]
	line = bytes.Count(before, []byte("\n")) + 1
	return line, len(before) - bytes.LastIndexByte(before, '\n')
}
