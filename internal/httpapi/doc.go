// Package httpapi answers HTTP requests: it turns the wire into the words of
// internal/fieldtest, makes one call, and turns words into the wire. It decides
// nothing about panels.
//
// Routes and parameter structs are generated from api/openapi.yaml into api.gen.go.
// The generated strict server is not used: an answer that is replayed from an
// idempotency record, a published ranking and a streamed table are bytes, which typed
// responses would decode and encode again. What strictness gives is had from the same
// document before a handler runs: roles (what is not declared is denied), parameters
// (unknown and repeated ones are refused), preconditions; and bodies by package
// contract. Tests hold the answers against the document's schemas.
//
// Errors meant for the client are *fieldtest.Refusal and become problem documents in
// one place, HandleError; all others are logged and answered as internal. A request
// passes, in this order: request id, log, panic guard, security headers and CORS, key
// and role, rate limit, parameters, If-Match, bound of requests at a time, handler.
//
// Sources: RFC 9110 (conditional requests, content negotiation), RFC 9457 (problem
// documents), RFC 8288 (Link), RFC 7240 (Prefer), RFC 4180 (CSV), RFC 9651 and the
// rate limit and idempotency key drafts of the IETF working group HTTPAPI, OWASP API
// Security Top 10 2023.
//
// Not covered: TLS (a proxy's task), limits shared between replicas, metrics (Observe
// hands over what they need).
package httpapi
