package sheet

import (
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

var (
	jsonNumber   = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?$`)
	looseNumber  = regexp.MustCompile(`^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?$`)
	decimalComma = regexp.MustCompile(`^[+-]?[0-9]*,[0-9]+$`)
	slashedDate  = regexp.MustCompile(`^[0-9]{1,4}[/.][0-9]{1,2}[/.][0-9]{2,4}`)
	offsetForm   = regexp.MustCompile(`^[+-][0-9]{2}:?[0-9]{2}$`)
)

// A problem is why a cell cannot be read: a code and a sentence.
type problem struct{ code, reason string }

// number returns a cell as a JSON number, with the digits that were typed.
func (o *Options) number(text string, workbook bool) (json.RawMessage, *problem) {
	switch comma := decimalComma.MatchString(text); {
	case comma && !o.DecimalComma:
		return nil, &problem{"decimal_comma", "This number has a decimal comma. Send the table with the parameter decimal=comma, or write a point."}
	case comma:
		text = strings.Replace(text, ",", ".", 1)
	case o.DecimalComma && !workbook && strings.Contains(text, "."):
		return nil, &problem{"decimal_point", "This number has a point, though decimal=comma was asked for: it could mean thousands."}
	}
	if !looseNumber.MatchString(text) {
		return nil, &problem{"not_a_number", "This is no decimal number. Units belong in the heading; leave the cell empty where nothing was read."}
	}
	text = strings.TrimPrefix(text, "+")
	if jsonNumber.MatchString(text) {
		return json.RawMessage(text), nil
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(x, 0) {
		return nil, &problem{"not_a_number", "This number is too large."}
	}
	return json.RawMessage(strconv.FormatFloat(x, 'g', -1, 64)), nil
}

// value returns a cell that fills a member of the interface.
func (o *Options) value(h *heading, text string, workbook bool) (json.RawMessage, *problem) {
	switch h.Kind {
	case Number:
		n, bad := o.number(text, workbook)
		if bad != nil {
			return nil, bad
		}
		return json.RawMessage(h.convert.apply(string(n))), nil
	case Whole:
		n, err := strconv.Atoi(strings.TrimSuffix(text, ".0"))
		if err != nil {
			return nil, &problem{"not_a_number", "This is no whole number."}
		}
		return json.RawMessage(strconv.Itoa(n)), nil
	case YesNo:
		switch strings.ToLower(text) {
		case "yes", "y", "true", "1":
			return json.RawMessage("true"), nil
		case "no", "n", "false", "0":
			return json.RawMessage("false"), nil
		}
		return nil, &problem{"not_yes_or_no", "Write yes or no."}
	case Word:
		text = strings.NewReplacer(" ", "_", "-", "_").Replace(strings.ToLower(text))
	}
	return quoted(text), nil
}

// quoted returns a text as JSON.
func quoted(text string) json.RawMessage {
	raw, err := json.Marshal(text)
	if err != nil { // text is valid UTF-8, of which every string can be written
		return json.RawMessage(`""`)
	}
	return raw
}

var (
	dayForms  = []string{"2006-01-02", "2006-1-2", "2 Jan 2006", "2 January 2006", "Jan 2, 2006", "January 2, 2006"}
	hourForms = []string{"15:04:05", "15:04", "3:04:05 PM", "3:04 PM", "3:04PM"}
)

// instant returns when a row was taken, from one cell or from day and time of day. ok is
// false where the row says nothing of it.
func (o *Options) instant(r *cells) (at time.Time, ok bool, column string, bad *problem) {
	whole, day, hour := r.text("taken_at"), r.text("date"), r.text("time")
	switch {
	case whole != "":
		at, bad = o.moment(whole, r)
		return at, bad == nil, "taken_at", bad
	case hour == "":
		return time.Time{}, false, "", nil
	case day == "":
		return time.Time{}, false, "time", &problem{"day_missing", "A time of day needs its day in the column date."}
	}
	at, bad = o.moment(day+" "+hour, r)
	return at, bad == nil, "time", bad
}

// moment reads a date and a time of day, with an offset from UTC of its own or the row's.
func (o *Options) moment(text string, r *cells) (time.Time, *problem) {
	for _, form := range []string{time.RFC3339, "2006-01-02 15:04:05Z07:00", "2006-01-02 15:04Z07:00", "2006-01-02T15:04Z07:00"} {
		if at, err := time.Parse(form, text); err == nil {
			return at, nil
		}
	}
	zone, bad := o.zone(r)
	if bad != nil {
		return time.Time{}, bad
	}
	if r.workbook {
		text = serials(text)
	}
	day, hour, parted := cutMoment(text)
	if slashedDate.MatchString(text) {
		return time.Time{}, &problem{"date_ambiguous", "This date can be read in two ways. Write the year first, as 2026-06-14."}
	}
	for _, d := range dayForms {
		for _, h := range hourForms {
			if at, err := time.ParseInLocation(d+" "+h, day+" "+hour, zone); parted && err == nil {
				return at, nil
			}
		}
	}
	return time.Time{}, &problem{"not_a_time", "This is no date with a time of day. Write it as 2026-06-14 11:22, or in the columns date and time."}
}

// cutMoment parts a day from the time of day behind it.
func cutMoment(text string) (day, hour string, ok bool) {
	if i := strings.IndexByte(text, 'T'); i == len("2006-01-02") {
		return text[:i], text[i+1:], true
	}
	i := strings.IndexByte(text, ':')
	if i < 0 {
		return "", "", false
	}
	at := strings.LastIndexByte(text[:i], ' ')
	if at < 0 {
		return "", "", false
	}
	return strings.TrimSpace(text[:at]), strings.ToUpper(strings.TrimSpace(text[at+1:])), true
}

// zone returns the offset from UTC of a row's times.
func (o *Options) zone(r *cells) (*time.Location, *problem) {
	text := r.text("utc_offset")
	if text == "" {
		text = o.UTCOffset
	}
	if text == "" {
		return nil, &problem{"offset_missing", "This time does not say its offset from UTC. Add a column utc_offset, as +02:00, or the parameter utc_offset."}
	}
	if strings.EqualFold(text, "z") || strings.EqualFold(text, "utc") {
		return time.UTC, nil
	}
	if !offsetForm.MatchString(text) {
		return nil, &problem{"not_an_offset", "An offset from UTC is written as +02:00."}
	}
	digits := strings.ReplaceAll(text[1:], ":", "")
	hours, minutes := int(digits[0]-'0')*10+int(digits[1]-'0'), int(digits[2]-'0')*10+int(digits[3]-'0')
	if hours > 14 || minutes > 59 {
		return nil, &problem{"not_an_offset", fmt.Sprintf("There is no offset of %s.", text)}
	}
	seconds := hours*3600 + minutes*60
	if text[0] == '-' {
		seconds = -seconds
	}
	return time.FixedZone("", seconds), nil
}

// serials writes the counts of days by which workbooks keep dates and times, alone or a
// whole one beside a fraction, as text.
func serials(text string) string {
	sum := 0.0
	for part := range strings.FieldsSeq(text) {
		x, err := strconv.ParseFloat(part, 64)
		if err != nil {
			return text
		}
		sum += x
	}
	at, err := excelize.ExcelDateToTime(sum, false)
	if err != nil {
		return text
	}
	return at.Round(time.Second).Format("2006-01-02 15:04:05")
}
