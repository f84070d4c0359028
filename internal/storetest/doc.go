// Package storetest gives each test its own freshly migrated database. Only tests
// import it.
//
// One PostgreSQL server serves all test processes of a user on a machine; it is
// started by the first that needs it and ends a few seconds after the last. It
// runs without fsync, so nothing in it outlives a crash of the machine. Databases
// are copied from a template that is named by a hash of the migrations, and are
// dropped when their test passes; a failed test's database stays for a look. A test
// that needs a server of its own, to kill it or to have it durable, gets a data
// directory from DataDir.
//
// Neither an environment nor a TestMain is needed: New(t) is all. Where no server
// programs are installed, the test fails and says how to install them.
package storetest
