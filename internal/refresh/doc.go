// Package refresh keeps the rankings up to date. A Worker waits for marks that writes
// leave on groups of rankings, reads everything that the rankings rest on at one place
// in the ledger, computes, publishes all lists with what each panel's place rests on,
// and lets the audit raise its doubts. It also answers what needs the last computation:
// comparisons, rankings of a part of the data, a panel's results and suggestions.
//
// Marks are leased, so of several replicas one computes; within a process there is
// never more than one recomputation at a time. A mark goes only if no write touched its
// group since it was taken, so that a write during a computation leads to another one.
// What fails is logged and tried again, later each time; old rankings are served
// meanwhile.
//
// Not covered: statistics (packages ranking and audit) and the form of answers.
package refresh
