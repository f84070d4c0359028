// Package budget says how sure a result is: an uncertainty budget whose every
// row has a size, a sensitivity and a scope.
//
// A reading's power at standard test conditions is a function of a dozen to two
// dozen inputs, each known with some standard uncertainty u_i. Every input is
// moved up and down by its own u_i, and half of what the result moves is that
// input's part of the uncertainty; parts of independent inputs add in
// quadrature. A part also says who shares the error (its scope): nobody but the
// reading, the session, the rig, all readings of a panel model, or everybody.
// The scope decides where a part cancels: two panels under one sky share the
// error of the sky, so their ratio is known far better than either power.
//
// The two ways in: Budget collects parts that the caller already has as
// sensitivity times uncertainty, without allocating, for the chain that runs on
// every reading; Evaluate takes any function and its inputs and does the
// differences itself. MonteCarlo is the check on both.
//
// # Sources
//
//   - JCGM 100:2008, Guide to the expression of uncertainty in measurement (GUM):
//     4.3.7 and 4.3.9 (rectangular, triangular), 5.1.3 note 2 (numerical
//     sensitivities), F.2.2.1 (display step), G.4 (effective degrees of freedom)
//   - JCGM 101:2008, Supplement 1: 7.7 (coverage interval from a sample)
//   - G. Steele, D. Lea, C. Flood, Fast splittable pseudorandom number
//     generators, OOPSLA 2014 (SplitMix64)
//   - testdata/reference/physics/uncertainty.json: three budgets with every
//     contribution, two effective degrees of freedom, one contrast
//
// The default rows of defaults.go are common practice without a single source;
// a rig's stated accuracy or certificate takes their place.
//
// # Not covered
//
// Correlated inputs within one reading (choose inputs so that they are
// independent), coverage other than 95 %, and the measurement model itself,
// which the caller composes from packages sky, celltemp and stc.
package budget
