package accounts

import (
	"errors"
	"testing"
	"time"

	"evensun/internal/fieldtest"

	"github.com/google/uuid"
)

var (
	noon  = time.Date(2026, 6, 14, 12, 0, 0, 0, time.UTC)
	mine  = uuid.MustParse("01970000-0000-7000-8000-000000000001")
	yours = uuid.MustParse("01970000-0000-7000-8000-000000000002")
)

// kindOf returns why something was refused, empty if it was not.
func kindOf(t *testing.T, err error) fieldtest.RefusalKind {
	t.Helper()
	if err == nil {
		return ""
	}
	refusal, ok := errors.AsType[*fieldtest.Refusal](err)
	if !ok {
		t.Fatalf("%v is no refusal", err)
	}
	return refusal.Kind
}

func TestWhoMayRegister(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		setting Registration
		role    fieldtest.Role
		trusted bool
		want    fieldtest.RefusalKind
	}{
		{Open, fieldtest.Anonymous, false, ""}, {Open, fieldtest.Anonymous, true, fieldtest.Forbidden}, {Open, fieldtest.RoleReviewer, true, fieldtest.Forbidden},
		{Open, fieldtest.RoleOperator, true, ""}, {Invite, fieldtest.Anonymous, false, fieldtest.Unauthenticated}, {Invite, fieldtest.RoleTester, false, fieldtest.Forbidden},
		{Invite, fieldtest.RoleReviewer, false, fieldtest.Forbidden}, {Invite, fieldtest.RoleOperator, true, ""},
		{Closed, fieldtest.Anonymous, false, fieldtest.Forbidden}, {Closed, fieldtest.RoleOperator, false, fieldtest.Forbidden},
	} {
		if got := kindOf(t, mayRegister(c.setting, fieldtest.Caller{Role: c.role}, c.trusted)); got != c.want {
			t.Errorf("%s, %s, trusted %v: %q, want %q", c.setting, c.role, c.trusted, got, c.want)
		}
	}
}

func TestRequestedKey(t *testing.T) {
	t.Parallel()
	tester, reviewer, operator := fieldtest.RoleTester, fieldtest.RoleReviewer, fieldtest.RoleOperator
	days := func(n int) *int { return &n }
	for name, c := range map[string]struct {
		who      fieldtest.Caller
		ask      KeyRequest
		want     fieldtest.RefusalKind
		wantDays int
	}{
		"a tester's own":               {fieldtest.Caller{TesterID: mine, Role: tester}, KeyRequest{}, "", 365},
		"a tester's own for a week":    {fieldtest.Caller{TesterID: mine, Role: tester}, KeyRequest{ExpiresInDays: days(7)}, "", 7},
		"a tester's, of a reviewer":    {fieldtest.Caller{TesterID: mine, Role: tester}, KeyRequest{Role: &reviewer}, fieldtest.Forbidden, 0},
		"another's":                    {fieldtest.Caller{TesterID: mine, Role: reviewer}, KeyRequest{TesterID: &yours}, fieldtest.Forbidden, 0},
		"a reviewer's own":             {fieldtest.Caller{TesterID: mine, Role: reviewer}, KeyRequest{Role: &reviewer}, "", 90},
		"a reviewer's own, too long":   {fieldtest.Caller{TesterID: mine, Role: reviewer}, KeyRequest{Role: &reviewer, ExpiresInDays: days(91)}, "", 90},
		"a reviewer's, of an operator": {fieldtest.Caller{TesterID: mine, Role: reviewer}, KeyRequest{Role: &operator}, fieldtest.Forbidden, 0},
		"an operator for another":      {fieldtest.Caller{TesterID: mine, Role: operator}, KeyRequest{TesterID: &yours, Role: &operator}, "", 90},
		"the setting's, for nobody":    {fieldtest.Caller{Role: operator}, KeyRequest{}, fieldtest.ValidationFailed, 0},
		"the setting's, for a tester":  {fieldtest.Caller{Role: operator}, KeyRequest{TesterID: &yours}, "", 365},
	} {
		got, err := requested(c.ask, c.who, noon)
		if kind := kindOf(t, err); kind != c.want {
			t.Errorf("%s: %q, want %q", name, kind, c.want)
		}
		if want := noon.AddDate(0, 0, c.wantDays); c.want == "" && !got.ExpiresAt.Equal(want) {
			t.Errorf("%s ends %v, want %v", name, got.ExpiresAt, want)
		}
	}
}

func TestRoomForKeys(t *testing.T) {
	t.Parallel()
	good := fieldtest.Key{ExpiresAt: noon.Add(time.Second)}
	over := fieldtest.Key{ExpiresAt: noon}
	gone := fieldtest.Key{ExpiresAt: noon.Add(time.Hour), RevokedAt: &noon}
	for name, c := range map[string]struct {
		others []fieldtest.Key
		parent *fieldtest.Key
		want   fieldtest.RefusalKind
	}{
		"four live, two dead":          {[]fieldtest.Key{good, good, good, good, over, gone}, nil, ""},
		"five live":                    {[]fieldtest.Key{good, good, good, good, good}, nil, fieldtest.IllegalTransition},
		"made by a live key":           {nil, &good, ""},
		"made by one that just ended":  {nil, &over, fieldtest.Unauthenticated},
		"made by one that was revoked": {nil, &gone, fieldtest.Unauthenticated},
	} {
		if got := kindOf(t, admit(&fieldtest.Key{TesterID: mine}, c.parent, c.others, noon)); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

// What makes a weighty key of its own tester passes on what is left of its own time.
func TestWeightyKeysDoNotRenewThemselves(t *testing.T) {
	t.Parallel()
	soon, late := noon.AddDate(0, 0, 10), noon.AddDate(0, 0, 90)
	for name, c := range map[string]struct {
		role   fieldtest.Role
		parent fieldtest.Key
		want   time.Time
	}{
		"a reviewer's own":          {fieldtest.RoleReviewer, fieldtest.Key{TesterID: mine, ExpiresAt: soon}, soon},
		"an operator's own":         {fieldtest.RoleOperator, fieldtest.Key{TesterID: mine, ExpiresAt: soon}, soon},
		"a tester's own":            {fieldtest.RoleTester, fieldtest.Key{TesterID: mine, ExpiresAt: soon}, late},
		"one that an operator gave": {fieldtest.RoleReviewer, fieldtest.Key{TesterID: yours, ExpiresAt: soon}, late},
		"one that ends before it":   {fieldtest.RoleReviewer, fieldtest.Key{TesterID: mine, ExpiresAt: late.AddDate(0, 0, 1)}, late},
	} {
		k := fieldtest.Key{TesterID: mine, Role: c.role, ExpiresAt: late}
		if err := admit(&k, &c.parent, nil, noon); err != nil || !k.ExpiresAt.Equal(c.want) {
			t.Errorf("%s ends %v, %v, want %v", name, k.ExpiresAt, err, c.want)
		}
	}
}

func TestPriceFaults(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ amount, date, want string }{
		{"0.0001", "2026-06-15", ""}, {"0.0000", "2026-06-14", "out_of_range"}, {"0", "2026-06-14", "out_of_range"}, {"189", "2026-06-16", "time_in_future"},
	} {
		got := ""
		for _, f := range PriceFaults(fieldtest.Price{Amount: c.amount, Currency: "EUR", Date: c.date}, noon) {
			got += f.Code
		}
		if got != c.want {
			t.Errorf("PriceFaults(%s on %s) = %q, want %q", c.amount, c.date, got, c.want)
		}
	}
}

func TestOnlyMoneyIsACurrency(t *testing.T) {
	t.Parallel()
	for code, want := range map[string]bool{"EUR": true, "USD": true, "CHF": true, "KWD": true, "XAF": true, "XCD": true, "XOF": true, "XPF": true,
		"AAA": false, "ZZZ": false, "XAU": false, "XTS": false, "XXX": false, "DEM": false} {
		faults := PriceFaults(fieldtest.Price{Amount: "189", Currency: code, Date: "2026-06-14"}, noon)
		if got := len(faults) == 0; got != want {
			t.Errorf("a price in %s: %v, want good %v", code, faults, want)
		}
	}
}
