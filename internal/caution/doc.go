// Package caution says when somebody could get hurt: it reads a session, a panel
// model and a rig and returns plain sentences about voltage, heat, batteries,
// cables, wind, weight and sun. A caution is never a verdict and never costs a
// rank.
//
// A warn states the number that triggered it; an inform points at a danger. Where
// the number is missing, the caution for the worst plausible value is given as an
// inform without a number. Every list ends with the closing text.
//
// # Sources
//
// Voltage of cold cells: linear in temperature as in IEC 60891, and the factors
// for crystalline silicon of NEC table 690.7(A) (from memory); the larger counts.
// Contact voltage: 60 V dry, 30 V wet, IEC 60364-4-41 and IEC 62368-1 (from
// memory). Parallel strings: IEC 62548, NEC 690.9 (from memory). Cable current:
// factor 1.25 of NEC 690.8 and the small-conductor rule NEC 240.4(D) (from
// memory). Heat index: L. Rothfusz, NWS SR 90-23 (1990), a regression of R.
// Steadman (1979). Hot surfaces: ISO 13732-1 (from memory). Lifting: the 23 kg
// load constant of the 1991 NIOSH equation (from memory). Wind: drag of a plate,
// c = 1.2. Batteries, eyes, storms: common practice, no source.
//
// # Not covered
//
// Advice for an installation. Local codes, makers' instructions and qualified
// people come first, and every list says so.
package caution
