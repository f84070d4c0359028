// Package interlab has the statistics by which laboratories, here testers, are
// compared and doubted: outlying means and patterns, trends, and numbers that look
// copied or made up. Functions of plain numbers, without a word of panels.
//
// # Statistics
//
// A mean far from the others is judged by Grubbs' test (one or a pair) and by Mandel's h, a
// scatter too small for the uncertainties claimed by chi-square; several numbers at once by
// Mahalanobis' distance, an order by the slope of a line and Kendall's tau.
//
// # Sources
//
//   - ISO 5725-2:1994, clause 7 (from memory): Grubbs and Mandel.
//   - F. E. Grubbs, Technometrics 11 (1969) 1-21: outlying observations.
//   - P.-T. Wilrich, AStA Advances in Statistical Analysis 97 (2013) 1-10: limits of h.
//   - M. G. Kendall, Rank Correlation Methods, 1948.
//   - J. E. Mosimann et al., Accountability in Research 4 (1995) 31-55: terminal
//     digits (from memory).
//
// Functions say NaN where a statistic has no value: too few numbers, no scatter,
// numbers that are not finite.
//
// # Not covered
//
// Robust location and regression (package robust), mixed models, the level statistics drawn
// from them and p-values of many tests (package compare), and what to do with a finding.
package interlab
