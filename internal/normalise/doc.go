// Package normalise takes one session through the whole chain: where the sun stood,
// how bright and how hot the panel was, what physics allows, what the reading would
// have been at standard test conditions, how sure that is, and how it was computed.
//
// A field reading holds for its hour, its sky and its meter. Standard test
// conditions (1000 W/m2 in the plane of the panel, cells at 25 C, spectrum AM1.5G)
// are the common ground on which readings of different days and places compare:
//
//	P_stc = P_term/m * 1000/G_eff / ((1 + gamma (Tc - 25)) e(G_eff))
//
// P_term is the power at the panel's terminals, m the tracker's share of the
// maximum, G_eff the irradiance that the cells see, gamma the temperature
// coefficient of power, Tc the cell temperature and e the efficiency in weak light.
//
// Measured quantities are used when given; what is missing is taken from the best
// model, named in the answer, with a wider uncertainty. Every input is one member of
// a flat point, and the budget moves one member at a time: that is the whole of the
// uncertainty calculation. Nothing here reads a clock, a file or a database.
//
// # Sources
//
// Those of packages sun, sky, celltemp, stc, budget and limits, whose public
// functions do the work; the translation is IEC 60891:2021 in spirit and the simple
// power form in practice (package stc says which method serves which data).
//
// # Not covered
//
// Procedures 1 and 2 of IEC 60891, for want of stored series resistance and kappa of a
// panel type (asked for by name they are refused), degradation, light-induced loss of
// the first hours, soiling, spectrum (an uncertainty, not a correction), and what only
// many sessions can tell (package audit).
package normalise
