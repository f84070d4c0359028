// Package accounts decides who takes part: who may register a tester, who may have which
// key and for how long, whose sessions count from the first, and what a price may be.
// Whatever rests on what is stored is decided inside the write, behind a lock on the
// tester, so that requests at the same time cannot pass a rule that each of them keeps.
//
// Only SHA-256 of a key's secret is stored. Slow password hashes protect secrets that can
// be guessed; above 112 bits of chance one fast hash is enough.
//
// Source: NIST SP 800-63B (look-up secrets; from memory); prefix and checksum of a key as
// common practice of code hosts, no source.
//
// Not covered: reading a request's key, and how often somebody may ask (package httpapi).
package accounts
