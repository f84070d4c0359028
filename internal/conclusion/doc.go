// Package conclusion says what all testers' readings of a panel model mean: how its
// sections are wired, what it keeps in part shade and flat on the ground, how it takes
// heat and weak light.
//
// A conclusion names what it stands on: readings, or the maker's word where readings do
// not tell, and it says undecided with the reading that would decide. Formulas are not
// made here: the circuit is package diode's, estimates and slopes are package ranking's.
package conclusion
