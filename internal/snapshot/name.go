package snapshot

import (
	"fmt"
	"regexp"
	"slices"
	"time"
)

// Name returns the name of a snapshot made at a time: the ISO week in UTC, as 2026-w48,
// or the first of 2026-w48-2, 2026-w48-3 and so on that is not among taken.
func Name(at time.Time, taken []string) string {
	week := Week(at)
	name := week
	for n := 2; slices.Contains(taken, name); n++ {
		name = fmt.Sprintf("%s-%d", week, n)
	}
	return name
}

// Week returns the ISO week of a time in UTC, as 2026-w48. The year is the week's own:
// the first days of January may belong to the year before.
func Week(at time.Time) string {
	year, week := at.UTC().ISOWeek()
	return fmt.Sprintf("%04d-w%02d", year, week)
}

var validName = regexp.MustCompile(`^[0-9]{4}-w(0[1-9]|[1-4][0-9]|5[0-3])(-([2-9]|[1-9][0-9]{1,3}))?$`)

// ValidName tells whether a text can be the name of a snapshot.
func ValidName(name string) bool { return validName.MatchString(name) }
