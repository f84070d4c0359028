// Package robust has robust location, scale and regression: what the middle of some numbers
// is and how they lie about a line where up to half of them may be wrong in any way. Functions
// of plain numbers, without a word of panels or testers.
//
// Sources: V. J. Yohai, Annals of Statistics 15 (1987) 642-656 (MM-estimates); A. E. Beaton,
// J. W. Tukey, Technometrics 16 (1974) 147-185 (the weight).
//
// Checked against robustbase and MASS (testdata/reference/statistics/tables.json) and on
// data with planted errors.
//
// Not covered: tests of outliers (package interlab), weights of random effects (package
// compare), rows of several numbers without a response.
package robust
