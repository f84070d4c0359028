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
// The comparison of currents (current_low_for_light) is made here and not on a reading's
// way in, so that it depends on the set of readings only and not on who came first.
//
// # How often it is right
//
// Made-up field tests of 8 testers with 6 sessions of 5 of 10 panels, each read twice (480
// readings; standard deviations: tester 1.2 %, session 2 %, opinion 0.8 %, cell 0.6 %,
// reading 0.4 %), 100 of each kind. Without a fault there are 0.30 findings a data set, 0.09
// of them by panel_off_in_session and at most 0.04 by any other rule. With one fault:
//
//	fault                            found   other findings
//	tester 12 % low                  100 %   0.24
//	opinion 8 % low                   99 %   1.29   cells of that opinion
//	session 20 % low                  99 %   0.28
//	panel in a session 6 % low       100 %   0.52
//	one reading 5 % low               98 %   1.29   scatter of its tester
//	labels of two panels swapped      98 %   3.93   both panels, off as well
//	second rig 8 % low                87 %   0.46
//	repeats scatter threefold        100 %   4.09   the readings of that tester
//	repeats ten times too good       100 %   0.49
//	drift of 0.4 % a minute           98 %   2.88   readings of that session
//	panel loses 18 % a year           98 %   1.53
//	session copied                   100 %   0.30
//	panels contradict by 6 %          95 %   0.71
//
// The comparison of currents raised nothing in 25 sets without a fault.
//
// Run it again with go test -run Simulation -v -trials 100.
//
// What one person can do to a ranking, and which rule speaks, is in the comment of package
// ranking.
//
// # Sources
//
//   - R. D. Cook, S. Weisberg, Residuals and Influence in Regression, 1982 (deleted
//     statistics); Y. Benjamini, Y. Hochberg, Journal of the Royal Statistical Society B
//     57 (1995) 289-300.
//   - ISO 5725-2:1994, clause 7 (h, k, Cochran, Grubbs); ISO 13528:2015, clause 9
//     (scores) (from memory); P. C. Mahalanobis 1936.
//   - S. Dias et al., Statistics in Medicine 29 (2010) 932-944 (node split).
//   - Package interlab for the tests themselves, with their sources.
//   - Thresholds without another source are common practice.
//
// # Not covered
//
// What physics allows (package limits), forward search, and any decision.
package audit
