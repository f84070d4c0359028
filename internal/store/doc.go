// Package store keeps everything in PostgreSQL. It is the only package with SQL: one
// method a thing to do, one file a query in folder query, whole transactions.
//
// All writes go through Write, so that the answer kept for an idempotency key, the
// data, the ledger's rows and the marks of stale rankings commit together or not at
// all. A write that waits for nothing takes three round trips: begin with the key,
// the data with the lock on the ledger's head, and the rows that carry a sequence
// with the commit. The head is locked last, so writers cannot deadlock over it and
// the sequence has no gaps and no early numbers.
//
// Rows are locked in this order: the idempotency record; findings (a verdict's one,
// an audit's all by id); a session; panel models by slug, a rig, a tester; readings
// by id; the ledger's head; marks by group. A session on its way in shares its models,
// rig and tester, so that no doubt about them changes before it is stored. Three writes
// learn only on the way what they must lock and leave the order:
//
//   - the next revision of a session, and that of a rig, reach findings behind the
//     session or rig, where a verdict holds its finding first;
//   - a new revision of a panel model locks the model before findings, the models that
//     its sessions also use and those sessions, where a revision of such a session
//     holds the session first;
//   - an audit and a new revision of a panel model lock the readings of several subjects,
//     by id within each only.
//
// Two such writes at once may wait for each other in a ring. PostgreSQL ends one after
// deadlock_timeout (1 s unless set otherwise, which is below the lock_timeout of a
// write), nothing of it is stored, and Write runs it anew. Marks that a worker leases
// or drops, sweeps of idempotency records, uses of keys and publications hold no lock
// of this list while they wait for another.
//
// Lists page by keyset at a sequence: the first page fixes as_of, later pages see
// the same state while others write.
//
// A role that runs the service may be kept from rewriting history: migrate as the
// owner of the tables, run as another role with
//
//	GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO service;
//	REVOKE UPDATE, DELETE ON ledger, verdict, snapshot, snapshot_file FROM service;
//
// and Options.Migrated set. No trigger guards the ledger; its hash chain does.
//
// Sources: PostgreSQL documentation, "Asynchronous Commit" (why the durable settings
// are checked), "INSERT" (ON CONFLICT), "SELECT" (SKIP LOCKED), appendix "Error Codes".
//
// Not covered: what a session is worth. No rule of the trade stands in SQL but the
// effect of verdicts on a reading's state.
package store
