package httpapi_test

import (
	"net/http"
	"strings"
	"testing"

	"github.com/labstack/echo/v4"
)

// A browser that asks for a page outside the API gets one; programs, and everybody who
// asks the API, get a problem document.
func TestBrowsersGetErrorPages(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.server.ErrorPages(func(c echo.Context, status int, title, detail, cure string) error {
		return c.HTML(status, title+"|"+detail+"|"+cure)
	})
	const browser = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"
	for _, c := range []struct {
		do, accept string
		page       bool
	}{
		{"GET /nothing", browser, true}, {"HEAD /nothing", browser, true}, {"GET /nothing", "", false}, {"GET /nothing", "application/json", false}, {"GET /nothing", "*/*", false},
		{"GET /v1/panel-models/nobody", browser, false}, {"POST /nothing", browser, false},
	} {
		x := b.send(ask{do: c.do, header: map[string]string{"Accept": c.accept}})
		if got := strings.HasPrefix(x.header("Content-Type"), "text/html"); x.status() != http.StatusNotFound || got != c.page {
			t.Errorf("%s as %q = %d %s", c.do, c.accept, x.status(), x.header("Content-Type"))
		}
		if c.page && strings.HasPrefix(c.do, "GET") && x.text() != `There is no such thing|There is no page "/nothing".|Check the address. Paths have no slash at the end.` {
			t.Errorf("%s says %q", c.do, x.text())
		}
	}
}
