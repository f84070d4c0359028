// Package explain says in plain sentences how a result was computed: one paragraph a
// step of a derivation, from the numbers of the step alone.
//
// A derivation is a list of steps with named numbers, exact and meant for programs.
// People who read it want to know where the sun stood, how bright and how hot the
// panel was, what its power comes to at standard test conditions and what makes that
// unsure. Numbers are rounded for reading; nothing is computed anew and nothing is
// added that the list does not hold.
//
// # Sources
//
// None of its own: every step names the source of its model.
//
// # Not covered
//
// Other languages than English, and steps that it does not know, of which it shows
// name and numbers.
package explain
