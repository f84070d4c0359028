// Package contract holds a request body against the interface's description
// (package api) and turns it into the words of internal/fieldtest. The server uses
// it for every body, `evensun check` for a file on a desk without any server.
//
// It works in three steps, and tells all faults of a step at once:
//
//  1. Syntax: one JSON value in valid UTF-8 without duplicate members, NUL or
//     anything behind it. A fault here is a malformed_request.
//  2. Schema: types, bounds, lengths, patterns, required and unknown members, as
//     openapi.yaml says. Absent and null mean the same.
//  3. Rules between members that a schema cannot hold, as "the end comes after the
//     start", by package validator. Faults of 2 and 3 are a validation_failed, in
//     document order.
//
// What physics allows is not decided here but in package limits. Whether an id is
// known is decided by who can look it up.
//
// The document is read and resolved by kin-openapi. The walk over a body is our own,
// because it reads the bytes once, without building values first, and reports faults in
// the order of the body with the pointer of each; BenchmarkSession compares its time,
// decoding included, with a plain decode and with kin-openapi's own validation, and
// tests hold its verdicts against the latter's.
//
// Source: RFC 8259 (JSON), RFC 6901 section 6 (pointers in fragment form), RFC 3339
// (times), OpenAPI 3.0.3.
//
// Not covered: oneOf, anyOf, allOf, not, uniqueItems, multipleOf. No body needs them;
// Load refuses a document that uses them.
package contract
