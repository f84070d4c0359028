package httpapi

import (
	"fmt"
	"math"
	"net/http"
	"strconv"
	"sync"
	"time"

	"evensun/internal/contract"
	"evensun/internal/fieldtest"

	"github.com/labstack/echo/v4"
)

// Limits are requests per minute. 0 is no limit.
type Limits struct {
	AnonymousPerMinute int // reads without key, per address
	DryRunsPerMinute   int // dry runs without key, per address
	ReadsPerMinute     int // reads per key
	WritesPerMinute    int // writes per key
	FailuresPerMinute  int // refused keys per address
}

// UsualLimits returns the limits of an installation that sets none [common practice,
// no source].
func UsualLimits() Limits {
	return Limits{AnonymousPerMinute: 60, DryRunsPerMinute: 10, ReadsPerMinute: 600, WritesPerMinute: 120, FailuresPerMinute: 30}
}

// withinLimits counts the request against the limit of its sort.
func (s *Server) withinLimits(c echo.Context, o *contract.Operation, dryRun bool) error {
	l, caller := s.cfg.Limits, callerOf(c)
	reading := o.Method == http.MethodGet
	switch {
	case caller.Role == fieldtest.Anonymous && reading:
		return s.allow(c, "anonymous", s.addressKey(c), l.AnonymousPerMinute)
	case caller.Role == fieldtest.Anonymous && dryRun:
		return s.allow(c, "dry-run", s.addressKey(c), l.DryRunsPerMinute)
	case caller.Role == fieldtest.Anonymous:
		return s.allow(c, "write", s.addressKey(c), l.WritesPerMinute)
	case reading:
		return s.allow(c, "read", caller.KeyID, l.ReadsPerMinute)
	}
	return s.allow(c, "write", caller.KeyID, l.WritesPerMinute)
}

// addressKey returns the client's address; of IPv6 the /64 that a household has.
func (s *Server) addressKey(c echo.Context) string {
	a := s.clientOf(c.Request())
	if a.Is6() {
		if p, err := a.Prefix(64); err == nil {
			return p.String()
		}
	}
	return a.String()
}

// allow counts one request of who against a policy and says so in the headers of the
// rate limit draft (structured fields, RFC 9651).
func (s *Server) allow(c echo.Context, policy, who string, perMinute int) error {
	if perMinute <= 0 {
		return nil
	}
	left, wait := s.limiter.take(policy+" "+who, perMinute, s.cfg.Now())
	h := c.Response().Header()
	h.Set("RateLimit-Policy", fmt.Sprintf(`"%s";q=%d;w=60`, policy, perMinute))
	h.Set("RateLimit", fmt.Sprintf(`"%s";r=%d;t=%d`, policy, left, seconds(wait)))
	if left >= 0 {
		return nil
	}
	h.Set("RateLimit", fmt.Sprintf(`"%s";r=0;t=%d`, policy, seconds(wait)))
	h.Set("Retry-After", strconv.Itoa(seconds(wait)))
	return &fieldtest.Refusal{Kind: fieldtest.RateLimited, Detail: fmt.Sprintf("The limit is %d a minute.", perMinute), Extra: map[string]any{"policy": policy}}
}

func seconds(d time.Duration) int { return int(math.Ceil(d.Seconds())) }

// A limiter holds a bucket of tokens for everybody seen lately. A bucket fills
// evenly and holds one minute's worth.
type limiter struct {
	mu      sync.Mutex
	buckets map[string]bucket
	swept   time.Time
}

type bucket struct {
	tokens float64
	at     time.Time
}

func newLimiter() *limiter { return &limiter{buckets: map[string]bucket{}} }

// take takes a token. left is how many remain, -1 if there was none; wait is the time
// until the next one, or until the bucket is full.
func (l *limiter) take(who string, perMinute int, now time.Time) (left int, wait time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.sweep(now)
	full, perSecond := float64(perMinute), float64(perMinute)/60
	b, seen := l.buckets[who]
	if !seen {
		b = bucket{tokens: full, at: now}
	}
	if passed := now.Sub(b.at).Seconds(); passed > 0 {
		b.tokens, b.at = min(full, b.tokens+passed*perSecond), now
	}
	if b.tokens < 1 {
		l.buckets[who] = b
		return -1, time.Duration((1 - b.tokens) / perSecond * float64(time.Second))
	}
	b.tokens--
	l.buckets[who] = b
	return int(b.tokens), time.Duration((full - b.tokens) / perSecond * float64(time.Second))
}

// sweep forgets once a minute who has a full bucket again.
func (l *limiter) sweep(now time.Time) {
	if now.Sub(l.swept) < time.Minute {
		return
	}
	l.swept = now
	for who, b := range l.buckets {
		if now.Sub(b.at) >= time.Minute {
			delete(l.buckets, who)
		}
	}
}
