package httpapi

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/netip"
	"strings"
	"time"

	"evensun/internal/contract"
	"evensun/internal/fieldtest"

	"github.com/labstack/echo/v4"
	"golang.org/x/sync/singleflight"
)

// A Config holds what a server needs. Whatever stands before BaseURL is required.
type Config struct {
	Store     Store
	Intake    Intake
	Accounts  Accounts
	Compare   Comparer
	Agree     Agreer
	Results   Resulter
	Suggest   Suggester
	Recommend Recommender
	Refit     Refitter
	Freeze    Freezer

	Now    func() time.Time // the clock
	Random io.Reader        // draws request ids, in production crypto/rand.Reader
	Log    *slog.Logger

	BaseURL        string // public, without a slash at the end, as https://evensun.example
	OperatorKey    string // acts as operator; empty: none
	TrustedProxies []netip.Prefix
	Rules          []Rule // shown at /v1/meta/rules
	TLS            bool   // HSTS is sent

	Limits      Limits
	MaxBody     int64         // bytes, default 1 MiB
	MaxInFlight int           // requests at a time, beyond: overloaded; 0: no bound
	MaxWaiters  int           // requests that wait for a ranking; default 1000
	Timeout     time.Duration // of a handler, default 10 s

	Ready        func(context.Context) map[string]error // what /readyz checks, by name; nil error is good
	ReadyTimeout time.Duration                          // of those checks together; default 1 s
	Observe      func(route, method string, status int, took time.Duration)
}

func (c *Config) fillDefaults() {
	c.BaseURL = strings.TrimSuffix(c.BaseURL, "/")
	if c.MaxBody == 0 {
		c.MaxBody = 1 << 20
	}
	if c.MaxWaiters == 0 {
		c.MaxWaiters = 1000
	}
	if c.ReadyTimeout == 0 {
		c.ReadyTimeout = time.Second
	}
	if c.Timeout == 0 {
		c.Timeout = 10 * time.Second
	}
}

// A Server answers HTTP requests.
type Server struct {
	cfg        Config
	echo       *echo.Echo
	operations map[string]*contract.Operation // by method and path, as GET /v1/rigs/:rig_id
	routed     map[string]bool                // by method and path: what has a handler
	limiter    *limiter
	inFlight   chan struct{}
	waiters    *waiters
	rows       *rowCache
	keys       *keyCache
	documents  documents
	checks     singleflight.Group                                                 // of readiness
	errorPage  func(c echo.Context, status int, title, detail, cure string) error // nil: problem documents only
}

// New returns a server. The error is that the interface's description cannot be
// loaded or declares too little.
func New(cfg Config) (*Server, error) {
	cfg.fillDefaults()
	own, err := contract.Own()
	if err != nil {
		return nil, err
	}
	s := &Server{cfg: cfg, echo: echo.New(), operations: map[string]*contract.Operation{}, routed: map[string]bool{},
		limiter: newLimiter(), waiters: newWaiters(cfg.MaxWaiters), rows: &rowCache{}, keys: newKeyCache()}
	if cfg.MaxInFlight > 0 {
		s.inFlight = make(chan struct{}, cfg.MaxInFlight)
	}
	operations, err := own.Operations()
	if err != nil {
		return nil, err
	}
	for _, o := range operations {
		s.operations[o.Method+" "+route(o.Path)] = o
	}
	if s.documents, err = newDocuments(own); err != nil {
		return nil, err
	}
	return s, s.routes()
}

// routes registers middleware and handlers. Middleware runs in the order given.
func (s *Server) routes() error {
	e := s.echo
	e.HideBanner, e.HidePort = true, true
	e.HTTPErrorHandler = s.HandleError
	e.Pre(s.identify, s.observe, s.recoverPanic, s.edge)
	e.Use(s.admit)
	RegisterHandlers(e, s)
	for _, r := range e.Routes() {
		if _, declared := s.operations[r.Method+" "+r.Path]; !declared {
			return fmt.Errorf("route %s %s is not in the interface's description", r.Method, r.Path)
		}
	}
	e.GET("/docs/:file", s.docsFile)
	e.GET("/problems/:code", s.problemPage)
	s.answerHead()
	return nil
}

// answerHead lets every GET answer HEAD too.
func (s *Server) answerHead() {
	for _, r := range s.echo.Routes() {
		s.routed[r.Method+" "+r.Path] = true
	}
	for _, r := range s.echo.Routes() {
		if r.Method == http.MethodGet && !s.routed["HEAD "+r.Path] {
			s.echo.HEAD(r.Path, s.asGet)
			s.routed["HEAD "+r.Path] = true
		}
	}
}

// asGet runs the GET handler of the same path; net/http leaves the body out.
func (s *Server) asGet(c echo.Context) error {
	s.echo.Router().Find(http.MethodGet, echo.GetPath(c.Request()), c)
	return c.Handler()(c)
}

// Mount adds routes of another package, as the pages. They get the same edge:
// request id, log, security headers, problem documents.
func (s *Server) Mount(add func(*echo.Echo)) {
	add(s.echo)
	s.answerHead()
}

// ErrorPages answers browsers' failed requests outside the API with pages of another
// package.
func (s *Server) ErrorPages(page func(c echo.Context, status int, title, detail, cure string) error) {
	s.errorPage = page
}

// Handler returns the server as an http.Handler.
func (s *Server) Handler() http.Handler { return s.echo }

// route turns a path of the description into one of the router.
func route(path string) string {
	return strings.NewReplacer("{", ":", "}", "").Replace(path)
}

// operationOf returns what the description says of the request's route.
func (s *Server) operationOf(c echo.Context) (*contract.Operation, bool) {
	method := c.Request().Method
	if method == http.MethodHead {
		method = http.MethodGet
	}
	o, ok := s.operations[method+" "+c.Path()]
	return o, ok
}

// callerOf returns who makes the request.
func callerOf(c echo.Context) fieldtest.Caller {
	caller, _ := c.Get(callerKey).(fieldtest.Caller)
	return caller
}
