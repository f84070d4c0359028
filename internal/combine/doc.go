// Package combine compares what a table says, without a service: it reads readings
// from CSV, fits the mixed model of package compare, ranks by package standing and
// writes one JSON document. It is the whole of the program's combine command but
// its flags.
//
// # The table
//
// A header, then one reading a row: value and panel, and any of
// standard_uncertainty, tester, rig, session, specimen. Panels are fixed effects;
// random effects are groupings (tester, session, ...), their products
// (tester:panel) and residual. With standard_uncertainty the variance of each row
// is known and residual, if named, is what comes on top; without it residual is
// always estimated.
//
// # Statistics
//
// Restricted or plain maximum likelihood; contrasts to a reference panel with
// Satterthwaite's degrees of freedom, p-values unadjusted and after Holm; Cochran's
// Q and I^2 against the known variances; ranks with simultaneous intervals. A
// larger value is better.
//
// Sources: those of packages compare and standing; W. G. Cochran, Biometrics 10
// (1954) 101-129 (Q); J. P. T. Higgins, S. G. Thompson, Statistics in Medicine 21
// (2002) 1539-1558 (I^2, in the form for several variance components).
//
// Not covered: robust weights, drift and known variances of rigs and sessions,
// which the service has; values on another scale than that on which differences
// count (for ratios, give logarithms).
package combine
