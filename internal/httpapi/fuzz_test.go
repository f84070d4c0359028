package httpapi_test

import (
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"evensun/internal/contract"
)

// Whatever is sent to whichever operation by whomever, the service does not fail: it
// answers with what the description declares, and a refusal is a whole problem
// document with a code that the operation or the interface as a whole declares.
func FuzzNoRequestMakesItFail(f *testing.F) {
	own, operations := described(f)
	k := castOn(f, newScene(f))
	codes := map[string]bool{}
	common, _ := own.Document().Extensions["x-problem-codes"].([]any)
	for _, c := range common {
		code, _ := c.(string)
		codes[code] = true
	}
	for i, o := range operations {
		f.Add(i, 2, uint64(0), "", k.samples[o.ID].body)
		f.Add(i, 4, uint64(i), "format=csv&page_size=3&cursor=e30", `{"a":1}`)
	}
	f.Fuzz(func(t *testing.T, which, who int, seed uint64, query, body string) {
		o := operations[(which%len(operations)+len(operations))%len(operations)]
		caller := k.callers[(who%len(k.callers)+len(k.callers))%len(k.callers)]
		r := k.request(o, caller.key, seed, query, body)
		if r == nil {
			return
		}
		w := httptest.NewRecorder()
		k.server.Handler().ServeHTTP(w, r)
		x := exchange{request: r, sent: body, response: w}
		if x.status() >= 500 && x.status() != 503 {
			t.Fatalf("%s %s %q = %d %s", r.Method, r.URL, body, x.status(), x.text())
		}
		if x.status() < 400 || x.status() == 503 {
			return
		}
		problemIsWhole(t, o.ID, x)
		code, _ := x.json("code").(string)
		declared := codes[code]
		for _, c := range o.Codes {
			declared = declared || c == code
		}
		if !declared {
			t.Errorf("%s %s %q = %s, which the description does not declare", r.Method, r.URL, body, code)
		}
	})
}

// request makes a request with a body that was scratched a little; nil if no client
// could send it.
func (k cast) request(o *contract.Operation, key string, seed uint64, query, body string) *http.Request {
	sample := k.samples[o.ID]
	path := sample.path
	if path == "" {
		path = o.Path
	}
	random := rand.New(rand.NewPCG(seed, 1))
	raw := []byte(body)
	for range random.IntN(4) {
		if len(raw) > 0 {
			raw[random.IntN(len(raw))] = `0123456789-.e"{}[],:nulltrueab\`[random.IntN(30)]
		}
	}
	target, err := url.Parse(path + "?" + query)
	if err != nil || strings.ContainsAny(query, "#") {
		return nil
	}
	r := httptest.NewRequest(o.Method, "/", strings.NewReader(string(raw)))
	r.URL, r.RequestURI = target, target.RequestURI()
	r.Header.Set("Content-Type", "application/json")
	if key != "" {
		r.Header.Set("Authorization", "Bearer "+key)
	}
	if sample.match != "" {
		r.Header.Set("If-Match", sample.match)
	}
	return r
}
