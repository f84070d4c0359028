// Package demo is an invented weekend of field tests whose truth is known: panel
// models, testers, rigs, prices and sessions as plain values, for trying the service
// with something in it and for tests of the whole.
//
// # How a reading comes about
//
// Every panel model has a true share of its rating and every unit a little more or
// less. The sun stands where package sun puts it, the sky's turbidity is drawn within
// what the stated condition allows, the cells are as hot as package celltemp has them
// and a few kelvins beside. That gives the power at the terminals; cable, converter,
// tracker, the tester's habit, the rig's gain, the session and the meter's display make
// of it what is written down:
//
//	P = share P_nameplate G_eff/1000 (1 + gamma (Tc-25)) e(G_eff) m exp(errors)
//
// Most sessions are honest. Some hold one common mistake each, with the rule that
// should notice it; a few are such that they are refused, and stand apart.
//
// Nothing here reads a clock: all is dated before an instant handed in. The same seed
// and instant give the same weekend. Makers, models, people and places are invented.
//
// # Sources
//
// Packages sun, sky, celltemp, stc and limits for the physics. The spreads are common
// practice, no source.
//
// # Not covered
//
// Ageing, soiling, spectrum, and mistakes that only months of data would show.
package demo
