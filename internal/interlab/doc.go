// Package interlab has the statistics by which laboratories, here testers, are
// compared and doubted: outlying means and scatters, precision within and between,
// proficiency scores, robust means, multiplicity, trends, and numbers that look
// copied or made up. Functions of plain numbers, without a word of panels.
//
// # Statistics
//
// A mean far from the others is judged by Grubbs' test (one or a pair) and by
// Mandel's h, a large scatter by Cochran's test and Mandel's k; repeatability s_r
// and reproducibility s_R come from a one-way analysis of variance. The score z of
// a tester relates its deviation to a fitness standard deviation, zeta and En to
// the uncertainties claimed. Robust means clip or weight what is far from the rest; an
// MM-estimate does so for a regression and the minimum covariance determinant for rows
// of several numbers, both with up to about half of the rows wrong in any way.
// Testing many things at once raises false alarms; adjusted p-values answer that.
//
// # Sources
//
//   - ISO 5725-2:1994, clause 7 (from memory): Grubbs, Cochran, Mandel, s_r and s_R.
//   - F. E. Grubbs, Technometrics 11 (1969) 1-21: outlying observations.
//   - P.-T. Wilrich, AStA Advances in Statistical Analysis 97 (2013) 1-10: limits of h and k.
//   - ISO 13528:2015, clause 9 (scores) and C.3 (algorithm A) (from memory).
//   - P. J. Huber, Robust Statistics, 1981; F. R. Hampel et al., Robust Statistics,
//     1986; P. J. Rousseeuw, C. Croux, Journal of the American Statistical
//     Association 88 (1993) 1273-1283: Qn and Sn.
//   - V. J. Yohai, Annals of Statistics 15 (1987) 642-656: MM-estimates.
//   - P. J. Rousseeuw, K. Van Driessen, Technometrics 41 (1999) 212-223: the minimum
//     covariance determinant.
//   - Y. Benjamini, Y. Hochberg, Journal of the Royal Statistical Society B 57
//     (1995) 289-300; S. Holm, Scandinavian Journal of Statistics 6 (1979) 65-70.
//   - M. G. Kendall, Rank Correlation Methods, 1948.
//   - J. E. Mosimann et al., Accountability in Research 4 (1995) 31-55: terminal
//     digits (from memory).
//
// Functions say NaN where a statistic has no value: too few numbers, no scatter,
// numbers that are not finite.
//
// # Not covered
//
// Mixed models and the level statistics drawn from them, and what to do with a finding.
package interlab
