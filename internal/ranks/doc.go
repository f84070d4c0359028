// Package ranks says where each member of a list of estimates ranks among the
// others, and how sure that is: ranks with simultaneous intervals, letters for
// members that the data cannot tell apart, the probability that one beats another,
// and sentences that a reader understands without statistics. Larger is better.
//
// A Family is the list: estimates with their covariance and the degrees of freedom
// of their standard errors. One critical value, the 95 % point of the largest
// studentised difference in the whole family, decides about every pair; intervals
// and letters use the same one and so never contradict each other. A shorter list
// is another family with its own intervals.
//
// # Statistics
//
// Up to 300 members the critical value is simulated from the covariance itself:
// directions are drawn, the radius is integrated exactly by the F distribution,
// so that the noise of the simulation is far below that of counting draws. Above,
// the studentised range takes over, which is never too small (Hayter 1984). Rank
// intervals count the members that are certainly better or certainly worse: with
// the stated confidence all true ranks lie inside their intervals at once.
//
// # What each number means
//
//   - Rank: place by the estimates alone, 1 the largest; equal estimates share one.
//   - Interval: ranks that the data allow. With the stated confidence the true ranks of
//     all members lie in their intervals at once, not each by itself.
//   - TieGroup: letters; two members that share one are not told apart. Members without a
//     common letter differ by more than the critical value. A tie is no proof of equality,
//     and being tied does not pass on: a with b and b with c leaves a and c open.
//   - PScore: mean over the others of Phi(z), the normal probability that this one is
//     larger, 0 to 1; 0.5 where nothing is known. It orders, it does not test: with few
//     degrees of freedom it claims more than the intervals, which take Student's
//     distribution, so a P-score of 0.999 may stand beside an interval of 1 to 2.
//
// Whether two members differ is decided by the error of their difference: where they
// share errors, intervals of the single estimates may overlap widely although the
// difference is sure, and where they share none, intervals that do not touch by a little
// need not make a list of many sure. Read letters and rank intervals, not overlaps.
//
// # Sources
//
//   - M. Mogstad, J. P. Romano, A. M. Shaikh, D. Wilhelm, Inference for ranks with
//     applications to mobility across neighbourhoods and academic achievement
//     across countries, Review of Economic Studies 91 (2024) 476-518.
//   - A. J. Hayter, Annals of Statistics 12 (1984) 61-75: the range is conservative.
//   - M. D. Copenhaver, B. Holland, Journal of Statistical Computation and
//     Simulation 30 (1988) 1-15: distribution of the studentised range.
//   - G. Ruecker, G. Schwarzer, BMC Medical Research Methodology 15 (2015) 58: P-score.
//   - H.-P. Piepho, Journal of Computational and Graphical Statistics 13 (2004)
//     456-466: letters by insert and absorb. J. Gramm et al., Computational
//     Statistics and Data Analysis 52 (2007) 725-736: letters as a clique cover.
//
// # Not covered
//
// Estimation, multiple lists, Bayesian ranks, p-values adjusted over pairs (package
// interlab has Holm), and any word of what the members are.
package ranks
