package refresh

import (
	"context"

	"evensun/internal/ranking"
)

// Suggest returns what to measure next at a place (deg, north and east positive) with
// the panel models named, or with all, from the newest computation. A model that does
// not exist is a *fieldtest.Refusal.
func (w *Worker) Suggest(ctx context.Context, latitudeDeg, longitudeDeg float64, models []string) (ranking.Suggestions, error) {
	c, err := w.current(ctx)
	if err != nil {
		return ranking.Suggestions{}, err
	}
	return ranking.Suggest(c.out, c.in, ranking.SuggestOptions{LatitudeDeg: latitudeDeg, LongitudeDeg: longitudeDeg, At: w.o.Now().UTC(), Models: models})
}
