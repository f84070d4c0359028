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
//
// # Where the rest stands
//
// How a fit is computed: engine.go. What simulations of clean, spoiled and attacked tables
// show: simulation_test.go, spoiled_test.go, attack_test.go, prior.go; what size costs:
// scale_test.go. Node splits: Fit.NodeSplits; degrees of freedom: Fit.Contrast and
// Fit.Combinations.
//
// # Checked against
//
// The model written out as full matrices (every score, information, derivative and
// likelihood, 1e-8), the 15 cases of testdata/reference/statistics/cases.json from
// lme4, metafor and lmerTest, and scale.json with 100,000 and 1,000,000 readings.
// 1,200 drawn small tables must give finite results within what their values span.
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
