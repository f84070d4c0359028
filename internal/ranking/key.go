package ranking

import (
	"fmt"
	"strings"

	"evensun/internal/fieldtest"
)

// Key returns the name under which a list of a measure is published: empty for the
// default list, the currency or the class of cover (at most one is not empty) for
// another, with "component=2" before it for panels outside the largest component, as
// "component=2&EUR".
func Key(currency, cover string, component int) string {
	key := currency + cover
	if component <= 1 {
		return key
	}
	if key == "" {
		return fmt.Sprintf("component=%d", component)
	}
	return fmt.Sprintf("component=%d&%s", component, key)
}

// Keys returns all names of list i of the output. The first currency, that of most
// panel models, and the first class of cover are the defaults and have two names.
func (out *Output) Keys(i int) []string {
	l := &out.Lists[i]
	named := Key(l.Currency, l.Cover, l.Component)
	if !out.isDefault(l) {
		return []string{named}
	}
	plain := Key("", "", l.Component)
	if plain == named {
		return []string{plain}
	}
	return []string{plain, named}
}

// isDefault tells whether a list is what a reader gets who names no currency or cover.
func (out *Output) isDefault(l *List) bool {
	switch l.Measure {
	case fieldtest.ShadeRetention:
		return l.Cover == CoverClasses()[0]
	case fieldtest.PowerPerPrice:
		for i := range out.Lists {
			if out.Lists[i].Measure == l.Measure {
				return out.Lists[i].Currency == l.Currency
			}
		}
	}
	return true
}

// DatasetOf returns the name of the dataset that a published list is made of.
func DatasetOf(measure, key string) string {
	if _, rest, ok := strings.Cut(key, "&"); ok {
		key = rest
	}
	if strings.HasPrefix(key, "component=") {
		key = ""
	}
	return datasetOf(measure, key)
}
