// Package diode describes a panel as a circuit: its current-voltage curve, the
// five parameters behind a nameplate, what a measured sweep says, how much power
// a partly covered folding panel keeps, and which wiring such readings point to.
//
// A lit junction is a current source with a diode, a shunt and a series
// resistance (Curve). Irradiance scales the source, temperature moves the diode
// (Reference.At). Cells in reverse conduct by avalanche before they would block
// (Cell), bypass diodes cap that voltage, blocking diodes forbid a dark section
// to drain its neighbours. Sections in series share a current, sections in
// parallel share a voltage: that is why the same card over one quarter of two
// outwardly equal panels leaves 5 % of one and 75 % of the other (Shade), and
// why power and voltage of a few covered readings tell how the sections are
// connected (Infer). Everything here is pure arithmetic on numbers given. ReadSweep leaves
// out single points that do not belong to the curve, by the MM-estimate of package
// interlab, so that a dropped sample does not move what is read.
//
// # Sources
//
//   - W. De Soto, S. Klein, W. Beckman, Improvement and validation of a model for
//     photovoltaic array performance, Solar Energy 80 (2006) 78-88: the model and
//     its translation, eqs. 1 to 12.
//   - A. Jain, A. Kapoor, Solar Energy Materials & Solar Cells 81 (2004) 269-277:
//     explicit current and voltage by the Lambert W function.
//   - R. Corless et al., Advances in Computational Mathematics 5 (1996) 329-359,
//     and F. Fritsch et al., Communications of the ACM 16 (1973) 123-124: W itself.
//   - J. Bishop, Computer simulation of the effects of electrical mismatches in
//     photovoltaic cell interconnection circuits, Solar Cells 25 (1988) 73-89:
//     reverse bias, and the circuit of sections.
//   - R. Kass, A. Raftery, Bayes factors, Journal of the American Statistical
//     Association 90 (1995) 773-795: 20 to 1 as the bound of strong evidence.
//
// Priors of the wirings, branch weights and spreads, breakdown figures and diode
// drops are common practice without a source; each is an argument or is marked.
//
// # Not covered
//
// Two-diode models, capacitance and sweep speed, mismatch between lit cells,
// shade that crosses sections, hot-spot temperature, spectrum, and materials
// whose shunt depends on voltage (amorphous silicon, cadmium telluride).
package diode
