// Package intake is the write path: it loads what a submission refers to, has it
// judged by package normalise, and stores session, readings, results, findings and
// ledger row in one transaction, or nothing.
//
// Judge is the part without a store; `evensun check` and the dry run use it too, so
// that all three give the same answer. A rule that refuses becomes a
// *fieldtest.Refusal with every fault at once; a rule that holds keeps the reading out
// of the rankings until a reviewer's verdict. Clock and ids are handed in.
package intake
