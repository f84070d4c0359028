package pgserver

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// Options say where the server keeps its data and which programs run it.
type Options struct {
	BinDir    string // folder of initdb and postgres; empty: look in the usual places
	DataDir   string // empty: DefaultDataDir
	Throwaway bool   // for tests: faster, and a crash of the machine loses everything
}

// longestStart bounds Start: recovery after a crash reads at most a gigabyte of log.
const longestStart = 2 * time.Minute

// A Server is a running PostgreSQL server that this process started or found running.
type Server struct {
	places places
	who    account
	users  *Lock
	keeper *keeper // nil where somebody else's server was found running
}

// Start returns a running server for the data directory. It makes the directory
// and the database where there is none, starts the server where none runs, and
// else attaches to the one that does. Several processes may race for one directory.
func Start(ctx context.Context, o Options) (*Server, error) {
	ctx, cancel := context.WithTimeout(ctx, longestStart)
	defer cancel()
	s, err := prepare(ctx, &o)
	if err != nil {
		return nil, err
	}
	lock, err := Exclusive(ctx, s.places.lock)
	if err != nil {
		return nil, err
	}
	defer lock.Release()
	if s.users, err = Shared(ctx, s.places.users); err != nil {
		return nil, err
	}
	if err := s.run(ctx, o); err != nil {
		return nil, errors.Join(err, s.abandon(ctx))
	}
	return s, nil
}

// URL returns the connection string of the server's database.
func (s *Server) URL() string { return s.places.url(database) }

// AdminURL returns the connection string of the database from which others are made.
func (s *Server) AdminURL() string { return s.places.url("postgres") }

// SocketDir returns the folder of the server's socket.
func (s *Server) SocketDir() string { return s.places.socket }

// Stop ends the use of the server, and the server too if this process started it
// or was the last to use it. It returns when the server is gone.
func (s *Server) Stop(ctx context.Context) error {
	lock, err := Exclusive(ctx, s.places.lock)
	if err != nil {
		return err
	}
	defer lock.Release()
	return s.abandon(ctx)
}

func (s *Server) abandon(ctx context.Context) error {
	if err := s.users.Release(); err != nil {
		return fmt.Errorf("release the use of %s: %w", s.places.root, err)
	}
	if s.keeper != nil {
		return s.keeper.stop(ctx)
	}
	last, err := TryExclusive(s.places.users)
	if last == nil || err != nil {
		return err
	}
	defer last.Release()
	return interrupt(ctx, s.places)
}

// prepare finds programs and places, and makes the folders.
func prepare(ctx context.Context, o *Options) (*Server, error) {
	if o.DataDir == "" {
		dir, err := DefaultDataDir()
		if err != nil {
			return nil, err
		}
		o.DataDir = dir
	}
	p, err := placesIn(o.DataDir)
	if err != nil {
		return nil, err
	}
	who, err := accountFor(p.cluster)
	if err != nil {
		return nil, err
	}
	if err := p.makeFolders(who); err != nil {
		return nil, err
	}
	return &Server{places: p, who: who}, ctx.Err()
}

// run attaches to a running server or starts one, and makes the database. Where
// another process restarts a killed server at the same moment, one of the two
// servers gives way at the claim file, and whoever lost attaches.
func (s *Server) run(ctx context.Context, o Options) error {
	for {
		running, err := settle(ctx, s.places)
		if err != nil {
			return err
		}
		if running {
			return s.makeDatabase(ctx)
		}
		err = s.launch(ctx, o)
		if err == nil {
			return s.makeDatabase(ctx)
		}
		if ctx.Err() != nil || !claimed(s.places) {
			return err
		}
	}
}

// launch makes the data directory where there is none and starts its server.
func (s *Server) launch(ctx context.Context, o Options) error {
	found, err := Find(o.BinDir)
	if err != nil {
		return err
	}
	programs, err := choose(found, s.places.cluster)
	if err != nil {
		return err
	}
	if err := initCluster(ctx, programs, s.places, s.who); err != nil {
		return err
	}
	k := newKeeper(programs, s.places, s.who, o.Throwaway)
	if err := k.start(ctx); err != nil {
		return errors.Join(err, k.stop(ctx))
	}
	s.keeper = k
	return nil
}

func (s *Server) makeDatabase(ctx context.Context) error {
	conn, err := pgx.Connect(ctx, s.AdminURL())
	if err != nil {
		return fmt.Errorf("connect to the started server: %w", err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	_, err = conn.Exec(ctx, "CREATE DATABASE "+database)
	if pgErr, ok := errors.AsType[*pgconn.PgError](err); ok && pgErr.Code == "42P04" { // duplicate_database
		return nil
	}
	if err != nil {
		return fmt.Errorf("make database %s: %w", database, err)
	}
	return nil
}

// ready tells whether the server behind the socket takes connections. It keeps
// the connection's error where that is not only "wait".
func ready(ctx context.Context, p places) bool {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	if _, err := os.Stat(p.socket + socketName); err != nil {
		return false
	}
	conn, err := pgx.Connect(ctx, p.url("postgres"))
	if err != nil {
		return false
	}
	return conn.Close(ctx) == nil
}
