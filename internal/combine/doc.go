// Package combine compares what a table says, without a service: it reads readings
// from CSV, fits the mixed model of package compare, ranks by package ranks and
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
// Values may have any level and unit: the fit takes each panel's median and a power of
// two from them and carries the results back. Uncertainties must lie within a factor of
// 1e7 of the spread. Names are trimmed; numbers are plain decimals with a point;
// comments are not read.
//
// # What is reported
//
//   - fixed: the level of each panel; with fixed sessions its difference to the reference.
//   - contrasts: differences to the reference with standard error, Satterthwaite's degrees
//     of freedom (1e6 where all variances are known; otherwise right to about 1e-6 up to 300
//     panels and 50,000 rows, above by the average information) and p-values, unadjusted and after Holm.
//   - variances: of each random term, 0 at the lower limit. The variance of tester:panel
//     is the heterogeneity between testers in one difference, half of tau^2 in the words
//     of network meta-analysis; so is that of session:panel between sessions.
//   - log_likelihood: restricted (or plain), in the convention of lme4; metafor adds half
//     the logarithm of the determinant of X'X. It has the unit of the values: it compares
//     fits of one table only.
//   - q, q_dof, i2: Cochran's Q of the scatter about the panels (and fixed sessions) by the
//     known variances alone, its degrees of freedom, and the share of the scatter that
//     they do not explain; null without them.
//   - rank, rank_lo, rank_hi, p_score, tie_group: as package ranks defines them, among the
//     panels of one part: what neither sessions nor testers join is never in one list.
//   - notes: what a reader must know before believing the rest: columns that give no
//     random term, panels that nothing joins, rows entered twice, variances of which the
//     data say nothing, a fit that did not converge.
//
// Where the columns present leave out who measured or when, rows count as independent,
// and nothing bounds what one person adds by repeating.
//
// # Few testers
//
// With two or three testers a table says little of how testers differ, and its estimate is
// often 0. What is usual can be given (Options.Priors, as sd 2 % of testers, 3 % of sessions,
// 1.2 % of tester:panel, 0.8 % of session:panel and 0.6 % of repeats where the values are
// logarithms of normalised power): package compare, Few testers. Without, lists by up to
// four testers have at most testers + 4 degrees of freedom.
//
// # Cost
//
// The fit takes time with the cube of what one tester compares: 100,000 rows of 100
// testers with 200 of 400 panels each and all five terms take 15 s of one core, those of
// 400 testers with 12 panels each 1 s. Leaving out tester:panel saves a tenth; with
// session as the only term the first table takes 1 s too (scale_test.go of package compare).
//
// # Statistics
//
// Restricted or plain maximum likelihood; contrasts to a reference panel with
// Satterthwaite's degrees of freedom, p-values unadjusted and after Holm; Cochran's
// Q and I^2 against the known variances; ranks with simultaneous intervals. A
// larger value is better.
//
// Sources: those of packages compare and ranks; W. G. Cochran, Biometrics 10
// (1954) 101-129 (Q); J. P. T. Higgins, S. G. Thompson, Statistics in Medicine 21
// (2002) 1539-1558 (I^2, in the form for several variance components).
//
// Not covered: prediction intervals, node splits, robust weights, drift and known variances
// of rigs and sessions, all of which the service has; values on another scale than that on
// which differences count (for ratios, give logarithms).
package combine
