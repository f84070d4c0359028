package accounts

import (
	"context"
	"net/http"
	"strings"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/store"

	"github.com/go-playground/validator/v10"
)

// form holds what package validator looks up.
var form = validator.New()

// isMoney tells whether a code is that of a currency in ISO 4217. The standard's codes of
// metals, funds of banks, tests and "no currency" begin with X and are no money; the four
// currencies of several countries that begin so are.
func isMoney(code string) bool {
	if strings.HasPrefix(code, "X") && code != "XAF" && code != "XCD" && code != "XOF" && code != "XPF" {
		return false
	}
	return form.Var(code, "iso4217") == nil
}

// PriceFaults returns what the form of a price does not show.
func PriceFaults(p fieldtest.Price, now time.Time) []fieldtest.Fault {
	var faults []fieldtest.Fault
	if strings.Trim(p.Amount, "0.") == "" {
		faults = append(faults, fieldtest.Fault{Pointer: "#/amount", Code: "out_of_range", Value: p.Amount, Limit: 0, Relation: ">", Reason: "A price is more than 0."})
	}
	if !isMoney(p.Currency) {
		faults = append(faults, fieldtest.Fault{Pointer: "#/currency", Code: "unknown_currency", Value: p.Currency, Reason: "ISO 4217 has no currency of this code in use."})
	}
	tomorrow := now.UTC().AddDate(0, 0, 1).Format(time.DateOnly) // it is tomorrow already somewhere
	if p.Date > tomorrow {
		faults = append(faults, fieldtest.Fault{Pointer: "#/date", Code: "time_in_future", Value: p.Date, Reason: "This day lies ahead."})
	}
	return faults
}

// AddPrice stores what a panel model cost somewhere on a day.
func (s *Service) AddPrice(ctx context.Context, who fieldtest.Caller, slug string, price fieldtest.Price, o Options) (store.Response, bool, error) {
	id, err := s.newID()
	if err != nil {
		return store.Response{}, false, err
	}
	if price.Condition == "" {
		price.Condition = "new"
	}
	return s.store.Write(ctx, o.Idempotency, o.DryRun, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		p := fieldtest.StoredPrice{Price: price, ID: id, PanelModel: slug, TesterID: who.TesterID}
		if err := tx.AddPrice(ctx, &p); err != nil {
			return store.Response{}, err
		}
		return tx.Answer(ctx, store.Answer{Status: http.StatusCreated, Location: "/v1/panel-models/" + slug + "/prices", DryRun: o.DryRun,
			Body: func(int64) any { return p }})
	})
}
