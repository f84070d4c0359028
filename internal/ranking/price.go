package ranking

import (
	"cmp"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
)

// priceAge is how long a price counts beside a newer one (common practice, no source).
const priceAge = 366 * 24 * time.Hour

// A vote is the newest price as new that one tester told in one currency.
type vote struct {
	price  fieldtest.Price
	amount float64
}

// AgreedPrices returns of one panel model's prices at most one a currency: each tester's
// newest as new is one vote, votes more than a year older than the newest are dropped,
// and the middle one counts, of an even number the higher of the two, so that nobody
// makes a panel cheap alone where another told its price. Only testers of whom readings
// count vote: an account is made in a minute, three kept sessions are not. A price that
// only one tester told is that tester's word. Common practice, no source.
func AgreedPrices(reported []fieldtest.StoredPrice, known func(tester uuid.UUID) bool) []fieldtest.Price {
	votes := map[string]map[uuid.UUID]vote{}
	for i := range reported {
		p := &reported[i]
		amount, err := strconv.ParseFloat(p.Amount, 64)
		if err != nil || amount <= 0 || p.Condition != "new" || !known(p.TesterID) {
			continue
		}
		if votes[p.Currency] == nil {
			votes[p.Currency] = map[uuid.UUID]vote{}
		}
		old, ok := votes[p.Currency][p.TesterID]
		if !ok || p.Date > old.price.Date || p.Date == old.price.Date && amount < old.amount {
			votes[p.Currency][p.TesterID] = vote{p.Price, amount}
		}
	}
	var out []fieldtest.Price
	for _, byTester := range votes {
		var list []vote
		for _, v := range byTester {
			list = append(list, v)
		}
		out = append(out, agreed(list))
	}
	slices.SortFunc(out, func(a, b fieldtest.Price) int { return cmp.Compare(a.Currency, b.Currency) })
	return out
}

// agreed returns the middle of the votes that count; there is one at least.
func agreed(list []vote) fieldtest.Price {
	newest := ""
	for _, v := range list {
		newest = max(newest, v.price.Date)
	}
	oldest := newest
	if day, err := time.Parse(time.DateOnly, newest); err == nil {
		oldest = day.Add(-priceAge).Format(time.DateOnly)
	}
	list = slices.DeleteFunc(list, func(v vote) bool { return v.price.Date < oldest })
	slices.SortFunc(list, func(a, b vote) int {
		return cmp.Or(cmp.Compare(a.amount, b.amount), cmp.Compare(a.price.Date, b.price.Date), cmp.Compare(a.price.Region, b.price.Region), cmp.Compare(a.price.Amount, b.price.Amount))
	})
	return list[len(list)/2].price
}
