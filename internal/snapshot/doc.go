// Package snapshot freezes all rankings together with everything that recomputes them,
// under a name that can be cited and a hash that can be checked.
//
// A snapshot is a manifest and some files. The manifest names each file with its size
// and SHA-256, so the hash of the manifest, snapshot_sha256, stands for the whole. The
// file inputs.jsonl holds all that a ranking is computed from, already normalised;
// Reproduce reads it back, computes the rankings anew and compares.
//
// Live rankings may begin from the variances of the one before, which moves last digits
// with the history of the service. A snapshot always begins cold and from inputs in one
// fixed order, so its numbers depend on its inputs alone. Computed numbers are rounded
// to twelve significant digits before they are used further, so that what is computed
// from the files is what was computed from the database.
//
// The same program on the same kind of machine gives the same bytes. Elsewhere the last
// bits of sums and logarithms may differ, since a compiler may fuse a product and a sum.
// Numbers must then agree to 1e-9.
//
// # Sources
//
// A. Rundgren, B. Jordan, S. Erdtman, RFC 8785 (2020), JSON Canonicalization Scheme, for
// the bytes that are hashed; NIST FIPS 180-4 (2015), SHA-256; ISO 8601-1 (2019), week
// numbers, for the names; S. Druskat et al., Citation File Format 1.2.0 (2021), for
// citations. The tolerance of 1e-9 and the rounding are common practice, no source.
//
// # Not covered
//
// Where snapshots are kept, and the way from what testers submitted to the normalised
// inputs: that is in each reading's derivation.
package snapshot
