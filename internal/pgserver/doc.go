// Package pgserver runs PostgreSQL for people who have not set one up: it finds
// the server programs that are installed, makes a data directory, starts the
// server as a child and stops it again. It installs and downloads nothing.
//
// The server is reached through a Unix socket only, in a directory that only its
// owner may enter, so it needs neither a port nor a password. PostgreSQL refuses
// to run as root; started by root, it runs as the user who owns the data, else
// SUDO_USER, postgres or nobody.
//
// What is committed survives kill -9 of this process and of the server: the next
// Start finds the same directory, waits for what is left of the old server and
// lets PostgreSQL recover. Within one process a server that dies is started again.
//
// Sources: PostgreSQL documentation, "Creating a Database Cluster", "Starting the
// Database Server", "Shutting Down the Server", postmaster.pid as written by
// src/backend/utils/init/miscinit.c (line 1 is the process id).
//
// Not covered: Windows, upgrades of a data directory to a newer major version,
// replication, and any access from other machines.
package pgserver
