package refresh

import (
	"context"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

// Recommend returns the panel models that may be best for a wish, from the newest
// computation.
func (w *Worker) Recommend(ctx context.Context, wish ranking.Wish) (fieldtest.Recommendation, error) {
	c, err := w.current(ctx)
	if err != nil {
		return fieldtest.Recommendation{}, err
	}
	r, err := c.out.Recommend(c.in, wish)
	if err != nil {
		return fieldtest.Recommendation{}, err
	}
	return *r, nil
}
