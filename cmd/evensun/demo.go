package main

import (
	"context"

	"evensun/internal/intake"
	"evensun/internal/refresh"
	"evensun/internal/store"
)

// fillDemo fills an empty database with the demonstration.
func fillDemo(context.Context, streams, settings, *store.DB, *intake.Service, *refresh.Worker) error {
	return errNoDemo
}
