// Package ranking makes rankings of panel models out of normalised readings: it turns
// results into responses for the mixed model of package compare, decides who is ranked
// and who is not and why, and carries the estimates to every measure with their
// uncertainty, ranks, ties and sentences.
//
// The response is ln(P_stc/P_nameplate): errors of a field test multiply, so a bad hour
// moves every panel of it by the same amount and cancels in differences. One fit an
// arrangement serves all measures that divide the same power by something else. What a
// reading's uncertainty shares decides where it goes: the reading's own part is its
// variance, the session's and the rig's parts are known variances of their effects,
// the panel model's part is added once per panel after the fit, and the common part
// widens absolute figures only, since it cancels between panels.
//
// Nothing here reads a clock or a database; the seed of every drawn number comes from
// the inputs, so the same inputs give the same ranking.
//
// # Sources
//
// Package compare for the model, package standing for ranks and ties. Who is ranked is
// common practice, no source; each condition is a member of Rules.
//
// # Not covered
//
// Doubts about readings and testers (package audit). Suggest counts a session as one of
// a new tester and the variances as known; it does not plan several sessions at once.
package ranking
