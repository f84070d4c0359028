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
