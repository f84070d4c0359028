// Package audit doubts what a ranking was computed from: it finds readings, panels in a
// session, sessions, opinions, rigs and testers that do not fit the rest, numbers that
// look copied or made up, trends, and estimates that hang on one tester. It only points:
// every finding is a note with its evidence and the likely cause, and a reviewer decides.
//
// # Statistics
//
// An effect is judged by how far its own data are from what all other data say of it,
// in standard errors, with the robust weights of the others in force and its own taken
// out: weights first, judgement second, so that nothing hides behind its own reduced
// weight. Tests of one rule are one family: a finding needs a false discovery rate below
// 5 % (Benjamini and Hochberg) and, where there is a t, |t| above 3.5. One cause should
// be one finding: a session with one panel is judged as a session only, an opinion with
// one session as a cell only, and of several doubts about a tester's mean the first is
// raised.
//
// # Sources
//
//   - R. D. Cook, S. Weisberg, Residuals and Influence in Regression, 1982 (deleted
//     statistics); Y. Benjamini, Y. Hochberg, Journal of the Royal Statistical Society B
//     57 (1995) 289-300.
//   - ISO 5725-2:1994, clause 7 (h, k, Cochran, Grubbs); ISO 13528:2015, clause 9
//     (scores) (from memory); P. C. Mahalanobis 1936.
//   - Package interlab for the tests themselves, with their sources.
//   - Thresholds without another source are common practice.
//
// # Not covered
//
// What physics allows (package limits), forward search, and any decision.
package audit
