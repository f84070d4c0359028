package httpapi

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"regexp"
	"runtime/debug"
	"strings"

	"evensun/internal/contract"
	"evensun/internal/fieldtest"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
)

const (
	callerKey  = "evensun.caller"
	idKey      = "evensun.request_id"
	apiPolicy  = "default-src 'none'; frame-ancestors 'none'"
	pagePolicy = "default-src 'none'; style-src 'self'; img-src 'self' data: blob:; script-src 'self'; connect-src 'self'; font-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
	allowed    = "Authorization, Content-Type, If-Match, If-None-Match, Idempotency-Key, Prefer, X-Request-Id, Traceparent"
	exposed    = "Link, Location, ETag, Retry-After, RateLimit, RateLimit-Policy, Deprecation, Sunset, Evensun-Sequence, Evensun-As-Of, Evensun-Failed, Idempotency-Replayed, X-Request-Id"
)

var requestIDForm = regexp.MustCompile(`^[A-Za-z0-9_-]{8,64}$`)

// identify gives every request an id, a proxy's own if the proxy is trusted.
func (s *Server) identify(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		id := c.Request().Header.Get("X-Request-Id")
		if !requestIDForm.MatchString(id) || !s.trusted(remoteOf(c.Request())) {
			fresh, err := uuid.NewV7FromReader(s.cfg.Random)
			if err != nil {
				return fmt.Errorf("draw a request id: %w", err)
			}
			id = fresh.String()
		}
		c.Set(idKey, id)
		c.Response().Header().Set("X-Request-Id", id)
		return next(c)
	}
}

func requestID(c echo.Context) string {
	id, _ := c.Get(idKey).(string)
	return id
}

func remoteOf(r *http.Request) netip.Addr {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		host = r.RemoteAddr
	}
	addr, _ := netip.ParseAddr(host)
	return addr.Unmap()
}

func (s *Server) trusted(a netip.Addr) bool {
	for _, p := range s.cfg.TrustedProxies {
		if p.Contains(a) {
			return true
		}
	}
	return false
}

// clientOf returns the address of who asks: the nearest one in X-Forwarded-For that
// is no trusted proxy, if the request came by one.
func (s *Server) clientOf(r *http.Request) netip.Addr {
	addr := remoteOf(r)
	if !s.trusted(addr) {
		return addr
	}
	hops := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",") // a proxy may add a line of its own to the client's
	for i := len(hops) - 1; i >= 0; i-- {
		hop, err := netip.ParseAddr(strings.TrimSpace(hops[i]))
		if err != nil {
			return addr
		}
		if addr = hop.Unmap(); !s.trusted(addr) {
			return addr
		}
	}
	return addr
}

// observe logs every request in one line, without bodies, keys or whole addresses. An
// answer that failed after it began is broken off, so that nobody takes a part of a
// table for the whole.
func (s *Server) observe(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		began := s.cfg.Now()
		c.Response().Writer = wire{c.Response().Writer}
		err := next(c)
		cutShort := err != nil && c.Response().Committed
		if err != nil {
			s.HandleError(err, c)
		}
		took := s.cfg.Now().Sub(began)
		status, route := c.Response().Status, c.Path()
		s.cfg.Log.LogAttrs(c.Request().Context(), slog.LevelInfo, "request",
			slog.String("request_id", requestID(c)), slog.String("method", c.Request().Method), slog.String("route", route),
			slog.Int("status", status), slog.Int64("bytes", c.Response().Size), slog.Duration("took", took),
			slog.String("key", callerOf(c).KeyID), slog.String("client", network(s.clientOf(c.Request()))))
		if s.cfg.Observe != nil {
			s.cfg.Observe(route, c.Request().Method, status, took)
		}
		if cutShort {
			panic(http.ErrAbortHandler) // breaks the connection off; a clean end would pass for the whole
		}
		return nil
	}
}

// wire is the way to the client. It marks its errors, as nothing else can tell them from
// those of the database.
type wire struct{ http.ResponseWriter }

// errLeft says that the client no longer takes its answer.
var errLeft = errors.New("the client left or takes too long")

func (w wire) Write(p []byte) (int, error) {
	n, err := w.ResponseWriter.Write(p)
	if err != nil && !errors.Is(err, http.ErrBodyNotAllowed) {
		err = fmt.Errorf("%w: %w", errLeft, err)
	}
	return n, err
}

// Unwrap lets http.ResponseController reach the connection.
func (w wire) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// network returns an address with the part that tells the household left out.
func network(a netip.Addr) string {
	bits := 48
	if a.Is4() {
		bits = 24
	}
	p, err := a.Prefix(bits)
	if err != nil {
		return ""
	}
	return p.String()
}

// recoverPanic turns a panic into an internal problem and logs its stack.
func (s *Server) recoverPanic(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) (err error) {
		defer func() {
			if p := recover(); p != nil {
				err = fmt.Errorf("panic: %v\n%s", p, debug.Stack())
			}
		}()
		return next(c)
	}
}

// edge sets what every answer carries and answers CORS preflights.
func (s *Server) edge(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		h := c.Response().Header()
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "cross-origin")
		h.Set("Content-Security-Policy", apiPolicy)
		h.Set("Access-Control-Allow-Origin", "*")
		h.Set("Access-Control-Expose-Headers", exposed)
		h.Set("Vary", "Accept, Accept-Encoding")
		if s.cfg.TLS {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		r := c.Request()
		if r.Method == http.MethodOptions && r.Header.Get("Access-Control-Request-Method") != "" {
			h.Set("Access-Control-Allow-Methods", "GET, HEAD, POST, PUT, DELETE")
			h.Set("Access-Control-Allow-Headers", allowed)
			h.Set("Access-Control-Max-Age", "86400")
			return c.NoContent(http.StatusNoContent)
		}
		return next(c)
	}
}

// admit lets a request through to its handler if the description declares it, the
// caller may make it, its parameters are right and there is room.
func (s *Server) admit(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		path := c.Request().URL.Path
		if len(path) > 1 && strings.HasSuffix(path, "/") {
			return fieldtest.Missing("page", cut(path))
		}
		o, declared := s.operationOf(c)
		if !declared && strings.HasPrefix(c.Path(), "/v1/") && s.routed[c.Request().Method+" "+c.Path()] {
			return fieldtest.Missing("page", cut(path)) // what is not declared is not served
		}
		if !declared {
			return s.bounded(c, next) // the router's own answer, or a page, which no key opens
		}
		if health(o) {
			return next(c)
		}
		if err := readable(c.Request().URL.RawQuery); err != nil {
			return err
		}
		dryRun := c.QueryParam("dry_run") == "true" && o.Takes("dry_run")
		if err := s.authorise(c, o, dryRun); err != nil {
			return err
		}
		if err := s.withinLimits(c, o, dryRun); err != nil {
			return err
		}
		if err := o.Check(c.Param, c.QueryParams(), c.Request().Header); err != nil {
			return err
		}
		if err := preconditions(c, o); err != nil {
			return err
		}
		return s.inTime(c, o, next)
	}
}

// readable refuses a query that cannot be read whole. The standard library leaves out
// what it cannot read, and a dry_run left out would store.
func readable(query string) error {
	for pair := range strings.SplitSeq(query, "&") {
		if _, err := url.ParseQuery(pair); err == nil {
			continue
		}
		name, _, _ := strings.Cut(pair, "=") // the value may be a key
		return &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "The query of the address cannot be read. Nothing was stored.",
			Faults: []fieldtest.Fault{{Parameter: cut(name), Code: "malformed_query", Reason: "Join parameters by &, not by ;, and write a percent sign as %25."}}}
	}
	return nil
}

func health(o *contract.Operation) bool { return o.ID == "getLivez" || o.ID == "getReadyz" }

// inTime runs the handler with a deadline and within the bound of requests at a
// time. A ranking that waits for a write has its own bounds.
func (s *Server) inTime(c echo.Context, o *contract.Operation, next echo.HandlerFunc) error {
	if o.ID == "getRanking" && c.QueryParam("at_least") != "" {
		return next(c)
	}
	return s.bounded(c, next)
}

func (s *Server) bounded(c echo.Context, next echo.HandlerFunc) error {
	if s.inFlight != nil {
		select {
		case s.inFlight <- struct{}{}:
			defer func() { <-s.inFlight }()
		default:
			return &fieldtest.Refusal{Kind: fieldtest.Overloaded, Detail: "Too many requests at a time."}
		}
	}
	limit := s.cfg.Timeout
	if c.Path() == importPath {
		limit *= importPatience
	}
	ctx, cancel := context.WithTimeout(c.Request().Context(), limit)
	defer cancel()
	c.SetRequest(c.Request().WithContext(ctx))
	return next(c)
}

func cut(s string) string { return contract.Cut(s) }
