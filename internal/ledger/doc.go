// Package ledger is the record of what was accepted and in which order: a chain of
// rows in which each holds the hash of the one before, so that a changed, removed or
// inserted row shows.
//
// A row holds hashes of content, not content, so it can be public and need never be
// changed. The bytes that are hashed are canonical JSON: two programs that agree on
// the members of a row agree on its hash.
//
// A chain kept by its owner alone proves order and integrity only to those who hold
// an earlier head: an owner could write the whole chain anew. Heads are therefore
// published in every snapshot.
//
// Sources: A. Rundgren, B. Jordan, S. Erdtman, RFC 8785 (2020), JSON Canonicalization
// Scheme; NIST FIPS 180-4 (2015), SHA-256; S. Haber, W. Stornetta, Journal of
// Cryptology 3 (1991) 99-111, linking of time stamps.
//
// Not covered: where rows are kept, signatures, and time stamps by others.
package ledger
