// Package limits says what physics, the sky and the nameplate allow a reading
// to be. Every rule is a pure function of numbers: it returns the limits at
// which a value becomes worth a note, a hold or a refusal. Reading, Pair,
// Covered, Flat, PanelModel, Rig, Weather and Result compose the rules and
// append a Doubt, with a sentence that a tester can act on, to a Report.
//
// Every nuisance input of a limit stands at its own bound on the side that
// favours the tester, and the reading gets a guard band of k standard
// uncertainties: k = 2 for note and hold, k = 3 for reject (guarded rejection).
// A missing input can only make a rule more lenient; a rule without any bound
// is listed as skipped.
//
// NaN means "not measured" or "not stated" everywhere in this package. The
// functions New... return inputs in which every number is NaN, so that a caller
// sets only what it knows; Given tells the two apart.
//
// # Sources
//
// Guarded rejection: JCGM 106:2012, clause 8.3 (clause number from memory).
// Ideal fill factor: M. Green, Solid-State Electronics 24 (1981) 788 and Solar
// Cells 7 (1982) 337-340. Irradiance limits: C. Long and E. Dutton, BSRN Global
// Network recommended QC tests, V2.0 (2002). Cloud enhancement: R. Cordero et
// al., BAMS 104(6) (2023); P. Emck and M. Richter, J. Appl. Meteorol. Climatol.
// 47 (2008); G. Yordanov et al., IEEE J. Photovoltaics 3(1) (2013) 271-277.
// Efficiency: A. Richter, M. Hermle, S. Glunz, IEEE J. Photovoltaics 3(4) (2013)
// 1184-1191; W. Shockley and H. Queisser, J. Appl. Phys. 32 (1961) 510; S.
// Ruehle, Solar Energy 130 (2016) 139-147. Module temperature: D. King, W.
// Boyson, J. Kratochvil, SAND2004-3535 (2004), eq. 11. The tolerances without a
// source stand in Settings, each marked as common practice.
//
// # Not covered
//
// Doubts that need many sessions (outliers, agreement between testers) belong to
// package audit. This package computes no sun position, no clear sky and no cell
// temperature: those numbers come in.
package limits
