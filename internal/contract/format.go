package contract

import (
	"errors"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"

	"evensun/internal/fieldtest"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

var (
	withoutOffset = regexp.MustCompile(`^\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}(:\d{2}([.,]\d+)?)?$`)
	leapSecond    = regexp.MustCompile(`:60(\.\d+)?(Z|[+-])`)
	uuidForm      = regexp.MustCompile(`^[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}$`)
)

func formatFault(n *node, s string) (fieldtest.Fault, bool) {
	var code, reason string
	switch n.format {
	case "date-time":
		_, code, reason = parseTime(s)
	case "date":
		if _, err := time.Parse(time.DateOnly, s); err != nil {
			code, reason = "not_a_date", "Must be a day, as 2026-06-14."
		}
	case "uuid":
		if !uuidForm.MatchString(s) {
			code, reason = "not_an_id", "Must be an id of 32 hexadecimal digits with hyphens."
		}
	case "name":
		if !plainName(s) {
			code, reason = "not_plain", "A name has no blanks at its ends, no line breaks, and no invisible characters that make it read like another."
		}
	case "words":
		if !saysSomething(s) {
			code, reason = "blank", "Must say something: blanks alone do not."
		}
	case "place":
		if !onEarth(s) {
			code, reason = "out_of_range", "A latitude is -90 to 90 degrees, a longitude -180 to 180. Latitude comes first."
		}
	}
	return fieldtest.Fault{Code: code, Value: Cut(s), Reason: reason}, code != ""
}

// plainName tells whether a name reads as it is written: two names that look the same
// must not be two. Joiners inside a word stay, Persian and emoji need them.
func plainName(s string) bool {
	const joiners = "\u200c\u200d"
	return strings.TrimSpace(s) == s && strings.Trim(s, joiners) == s && !strings.ContainsFunc(s, func(r rune) bool {
		return unicode.IsControl(r) || r == '\u2028' || r == '\u2029' || unicode.Is(unicode.Cf, r) && !strings.ContainsRune(joiners, r)
	})
}

// saysSomething tells whether a text holds anything that can be seen.
func saysSomething(s string) bool {
	return strings.ContainsFunc(s, func(r rune) bool { return unicode.IsGraphic(r) && !unicode.IsSpace(r) })
}

// onEarth tells whether latitude,longitude,km, whose form was checked, is a place.
func onEarth(s string) bool {
	for i, most := range []float64{90, 180} {
		x, err := strconv.ParseFloat(strings.Split(s, ",")[i], 64)
		if err != nil || x < -most || x > most {
			return false
		}
	}
	return true
}

// ParseTime reads an RFC 3339 date-time with offset. A leap second is read as the
// last microsecond before it. The refusal says what is wrong with another text.
func ParseTime(s string) (time.Time, error) {
	t, code, reason := parseTime(s)
	if code != "" {
		return time.Time{}, &fieldtest.Refusal{Kind: fieldtest.ValidationFailed, Detail: reason}
	}
	return t, nil
}

func parseTime(s string) (t time.Time, code, reason string) {
	switch {
	case strings.Contains(s, "["):
		return t, "time_zone_name", "A time takes no zone name; its offset says enough. Leave out what stands in brackets."
	case !strings.HasSuffix(s, "Z") && withoutOffset.MatchString(s):
		return t, "time_without_offset", "A time needs its offset from UTC at the end, as -06:00, or Z for UTC."
	}
	if strings.Contains(s, ":60") && leapSecond.MatchString(s) {
		s = leapSecond.ReplaceAllString(s, ":59.999999$2")
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil || !wellFormed(s) {
		return time.Time{}, "not_a_time", "Must be a time, as 2026-06-14T11:05:00-06:00."
	}
	return t, "", ""
}

// wellFormed refuses what package time takes beyond RFC 3339: hours of one digit,
// decimal commas and offsets of a day and more.
func wellFormed(s string) bool {
	if len(s) < len("2006-01-02T15:04:05Z") || s[13] != ':' || s[16] != ':' || strings.Contains(s, ",") {
		return false
	}
	return strings.HasSuffix(s, "Z") || s[len(s)-5:len(s)-3] <= "23" && s[len(s)-2:] <= "59"
}

// lenient reads leap seconds, which time.Time does not, and whole numbers written
// with a decimal point, which an int does not.
var lenient = json.JoinUnmarshalers(
	json.UnmarshalFromFunc(func(dec *jsontext.Decoder, t *time.Time) error {
		if dec.PeekKind() != '"' {
			return errors.ErrUnsupported
		}
		v, err := dec.ReadValue()
		if err != nil {
			return err
		}
		s, err := jsontext.AppendUnquote(nil, v)
		if err != nil {
			return err
		}
		*t, err = ParseTime(string(s))
		return err
	}),
	json.UnmarshalFromFunc(func(dec *jsontext.Decoder, i *int) error {
		if dec.PeekKind() != '0' {
			return errors.ErrUnsupported
		}
		tok, err := dec.ReadToken()
		if err != nil {
			return err
		}
		x, err := tok.Float()
		*i = int(x)
		return err
	}),
)
