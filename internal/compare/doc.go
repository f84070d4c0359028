// Package compare estimates how far apart things are that different people
// measured on different occasions, and how sure the data are of it. It knows
// nothing of what is measured: a Table has values, panels (what is compared),
// testers, rigs, sessions and specimens as codes.
//
// # Model
//
// Reading k of panel i, by tester t with rig g in session j:
//
//	y = mu_i + T_t + R_g + S_j + I_ti + U_s + C_ji + D_j tau_k + e_k
//
// mu is fixed; all else is random, normal and independent with mean 0. T is a tester's own
// bias, R that of one of his rigs, S what an occasion does to all panels, I a tester's
// opinion of one panel, U a unit of it, C a panel's place in one session (a cell), D the
// change of a session per 30 minutes, tau_k the half hours from its middle, e what repeats
// scatter. Variances of T, S, I, U, C, D and e are estimated; readings, sessions and rigs
// may have known ones, to which the estimated ones add. With fixed sessions this is the
// arm-based network meta-analysis, a session being a study and a cell an arm. Where a
// tester has one unit of a panel, I holds U.
//
// I is what bounds one tester's say: however many sessions he adds, his information
// on a panel stays below 1/var(I). Weights by Hampel's function bound it further where
// an opinion, a session, a cell or a reading lies far from what all others say: an effect
// of weight w has its variance raised by v1 (1/w - 1), v1 being the variance of what its
// own data say of it against all others. CapSessions keeps one tester from deciding the
// variances, MaxShare from holding more than a given part of the information.
//
// # Words
//
// V is the covariance of the readings y, X the panels' columns (and those of fixed
// sessions), P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1, z the 0/1 column of an effect.
//
//   - Degrees of freedom of a contrast with variance v: 2 v^2 / (g'F^-1 g), g the derivative
//     of v by the estimated variances, F their information, the observed one up to 300
//     panels and 50,000 readings, else the average one. Variances at a limit count as known.
//   - Heterogeneity: that what is compared differs by more than the known variances and
//     chance explain. Q = y'P y with the known variances alone, chi-square with n - rank X
//     degrees of freedom where they explain all (Cochran). I^2 = tau2/(tau2 + s2), tau2 the
//     sum of the estimated variances, s2 = (n - rank X)/tr P the typical known one, P that
//     of Q (Higgins and Thompson; several components: metafor). In the words of network
//     meta-analysis tau^2 of a contrast is 2 var(C) in another session of a tester,
//     2 (var(I) + var(C)) with another tester.
//   - Prediction interval of a contrast, for a new unit of each panel that a new tester reads
//     side by side: estimate -+ t(dof) sqrt(v + 2 (var(I) + var(U) + var(C))); of one panel's
//     level, v + var(I) + var(U) + var(C), the new tester's T and the hour's S apart
//     (Higgins, Thompson and Spiegelhalter, with the contrast's degrees of freedom in place
//     of k - 2).
//   - Node split of a pair that shares two sessions of two testers: the estimate from the
//     sessions that hold both panels against what all else says (NodeSplits).
//   - Inconsistency: that testers, not chance, make direct and indirect estimates differ. It
//     is var(I) itself; a node split says where it sits.
//
// # Few testers
//
// With two or three testers the likelihood says little of the variances between them: it
// puts them at 0 in many tables, and Student's t of testers - 1 degrees of freedom, 12.7 with
// two, asks for ten times what levels vary by. Options.Priors, as PracticePriors, holds each
// standard deviation near what is usual, more loosely the more the data say, in place of
// floors (Few) and of that t: with one tester the variance between testers is the prior's
// own, with many the prior is not felt. Levels, contrasts and families (FamilyDof) of a fit
// with priors have at least testers + 4 degrees of freedom. LogLikelihood leaves priors out.
// 6 panels, 4 sessions of 4 panels a tester, 400 trials ("-run FewTesters -v -trials 400");
// lists wrong: a true difference outside the simultaneous intervals of package ranks:
//
//	         spreads as expected               twice as large
//	testers  levels  contrasts  lists wrong    levels  contrasts  lists wrong
//	1        0.994   0.999      0 of 380       0.910   0.930      8 of 380
//	2        0.984   0.972      4 of 400       0.905   0.923      31 of 400
//	3        0.969   0.968      10 of 400      0.910   0.938      28 of 400
//	4        0.961   0.955      18 of 400      0.903   0.941      30 of 400
//
// # How it is computed
//
// Readings, cells, sessions and testers are absorbed in turn, exactly; what is left
// is one system H mu = h of the panels. Restricted likelihood is climbed by average
// information. Score z'Py and information z'Pz of every effect come out of the same
// pass and serve as gradient, robust weight and audit statistic. Up to DenseLimit
// panels H is factored and its inverse, Cov(mu), held; above, conjugate gradients and seeded
// random probes take over, in a form that leaves to chance only what the panels of
// one tester share with all others.
//
// Robust weights and variances share their passes over the data: each pass reweighs at the
// statistics of the last and leaves the variances one step. From the third pass on, each
// tester's block then settles its own weights, the panels following as all other data
// hold them. Where opinions contradict each other in pairs, more than one set of weights
// is at rest: there the last digits decide which of two is believed.
//
// A variance of which the data say nothing, as that of the only tester, stays at its
// lower limit, and none grows beyond a hundred times what the values could show: small
// and odd tables give finite results, with Converged false and a note where something is
// left open. Groupings that cross (each tester in each session) go to
// a dense Schur complement. Sums are taken in a fixed order whatever the number of
// goroutines: the same table gives the same bits on one kind of machine.
//
// # Checked against
//
// The model written out as full matrices (every score, information, derivative and
// likelihood, 1e-8), the 15 cases of testdata/reference/statistics/cases.json from
// lme4, metafor and lmerTest, and scale.json with 100,000 and 1,000,000 readings.
// 1,200 drawn small tables must give finite results within what their values span.
//
// # Simulation
//
// 12 panels, 8 testers, 40 sessions of 5 panels, known truth; 200 trials, seeds
// 41000 on; corrupted: 2 of 40 sessions off by 15 to 50 %. Coverage is of contrasts by t,
// tau Kendall's of the estimates with the truth, passes those of the weights; averages:
// panels by the plain mean of their readings.
// "go test ./internal/compare -run 'Simulation|Ties' -v -trials 200" prints it:
//
//	                      coverage of 95 %  tau    rms error  half-width  passes  not settled
//	robust, clean         0.946             0.913  0.0101     0.0200      5.6     0
//	robust, corrupted     0.956             0.912  0.0101     0.0204      8.6     0
//	plain, clean          0.948             0.912  0.0101     0.0201      0       0
//	averages, clean                         0.855
//	averages, corrupted                     0.795
//
// With six pairs of truly equal panels in place of twelve different ones, told apart by
// package ranks at 95 % for the whole list:
//
//	            truly equal pairs  trials with one  different pairs   of them in wrong order
//	clean       1 of 1,200         1 of 200         7,739 of 12,000   0
//	corrupted   0 of 1,200         0 of 200         7,608 of 12,000   0
//
// One fabricator with 1,000 sessions beside N honest testers with 5 each, lifting one
// panel and sinking another by the shift; out: a top-10 rank leaves the interval published
// without him (package ranks), pull: change of the contrast of the two; 40 trials a
// row (39 with N = 3, where one lacked a panel), seeds 91000 on ("-run Attack -v -trials
// 400"):
//
//	N  shift  out  pull         N   shift  out  pull
//	3  0.03   0    0.023        8   0.03   0    0.011
//	3  0.10   0    0.032        8   0.10   0    0.004
//	3  0.30   0    0.000        8   0.30   0    0.000
//	5  0.03   0    0.016        16  0.03   0    0.006
//	5  0.10   0    0.010        16  0.10   0    0.002
//	5  0.30   0    0.000        16  0.30   0    0.000
//
// None of 477 says below 0.7 % with 95 % confidence; no proof. One opinion pulls its panel
// by psi(r) share sqrt(v1), at most 3 share sqrt(v1), with its share in 1/C_ii and v1 the
// variance of what it says against all others; a test draws liars and finds equality. A
// liar with one panel only is taken for a tester with a large bias: contrasts moved by at
// most half a standard error, the common level by up to 6 %.
//
// # Scale
//
// 2 cores of a shared server with nothing else to do (load 1 to 1.5, this benchmark's own).
// Robust is the model of the service; fit by the clock and cpu, user and system time; refit
// goes on from the memory of a fit after one more session, its cpu as a share of a cold
// fit's; ranks the table of package ranks; memory the heap beyond the readings. "go test
// -run XXX -bench Fit ./internal/compare":
//
//	readings    panels  model   fit     cpu     refit / fit  standard errors  ranks   memory
//	10,000      50      plain   0.02 s  0.03 s  0.42         0.00 s           0.04 s  3 MiB
//	10,000      50      robust  0.04 s  0.04 s  0.52         0.00 s           0.05 s  3 MiB
//	100,000     497     plain   0.30 s  0.40 s  0.30         0.00 s           0.02 s  32 MiB
//	100,000     497     robust  0.53 s  0.70 s  0.38         0.00 s           0.02 s  39 MiB
//	1,000,000   4,981   plain   1.6 s   2.8 s   0.32         0.7 s            1.3 s   202 MiB
//	1,000,000   4,981   robust  3.1 s   5.3 s   0.25         0.7 s            1.3 s   298 MiB
//	10,000,000  49,888  plain   21 s    38 s                 11 s                     2.0 GiB
//
// With the fit before it still held whole, 1,000,000 readings took 342 to 410 MiB; one cold
// robust fit by itself, with its readings and the program, 296 MiB resident. With one
// session in twenty spoiled it takes 9 passes in place of 4: 6.3 s. Beside other work (load
// 7 to 8) cpu times stay within a tenth, and those by the clock grow threefold.
//
// Time grows with the cube of a tester's opinions: an iteration takes about 7 products of
// their m x m matrices, inverse included. 100 testers with 200 opinions each, 100,000
// readings, five terms: 2 s of one core an iteration, 15 s in all with the contrasts of
// 400 panels to one. The testers above have 12 on average, 60 at most.
//
// On one core elsewhere lme4 1.1-31 took 700.5 s and 2,314 MB for the 100,000 readings
// with panels fixed, 19.0 s and 359 MB with panels random: the order of magnitude, not a
// benchmark. Letters of 49,888 panels took minutes and were not waited for.
//
// # Sources
//
//   - H. Patterson, R. Thompson, Biometrika 58 (1971) 545-554: restricted likelihood.
//   - A. Gilmour, R. Thompson, B. Cullis, Biometrics 51 (1995) 1440-1450: average information.
//   - D. Bates et al., J. Stat. Softw. 67(1) (2015); W. Viechtbauer, J. Stat. Softw. 36(3)
//     (2010): the conventions of LogLikelihood and HalfLogDetXX.
//   - F. Hampel et al., Robust Statistics, 1986: the weights.
//   - F. Satterthwaite, Biometrics Bulletin 2 (1946) 110-114: degrees of freedom.
//   - W. Cochran, Biometrics 10 (1954) 101-129; J. Higgins, S. Thompson, Stat. Med. 21 (2002)
//     1539-1558: Q and I^2.
//   - J. Higgins, S. Thompson, D. Spiegelhalter, J. R. Stat. Soc. A 172 (2009) 137-159:
//     prediction intervals.
//   - S. Dias et al., Stat. Med. 29 (2010) 932-944: node splitting.
//
// Cut-offs, floors, caps and passes are common practice, no source.
//
// # Not covered
//
// Weights of whole testers: one whose every reading is off moves the common level.
// Rank intervals and letters (package ranks), classical interlaboratory tests
// (package interlab), Kenward-Roger's correction, correlated random slopes, weights
// in the crossed path, the two-stage correction of per-panel slopes (package ranking has
// it). Weights count as known in the standard errors.
package compare
