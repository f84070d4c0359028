// Package synthetic draws large tables of readings with known true values, for
// tests and benchmarks of package compare.
//
// It is a port of testdata/reference/statistics/generate.py: one SplitMix64
// stream, draws in the same order, values rounded as they are printed there. Text
// writes the same bytes; their MD5 sums are in scale.json beside that script.
//
// The data have testers of very unequal activity, panels of very unequal
// popularity and two to five panels a session. True standard deviations: tester
// 0.020, session 0.030, tester x panel 0.012, panel in session 0.008, reading
// 0.006 beyond a known 0.008 to 0.030.
//
// # Sources
//
// G. Steele, D. Lea, C. Flood, Fast splittable pseudorandom number generators,
// OOPSLA 2014. G. Box, M. Muller, Ann. Math. Stat. 29 (1958) 610-611, for the normals.
//
// # Not covered
//
// Time of day, drift, rigs, several units of a panel.
package synthetic
