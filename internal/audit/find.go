package audit

import (
	"context"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

// RuleIDs returns the ids of all rules.
func RuleIDs() []string { return []string{"opinion_off"} }

// Find returns the doubts about a computation's inputs.
func Find(ctx context.Context, in *ranking.Inputs, out *ranking.Output, raw []Raw) ([]fieldtest.Finding, error) {
	return nil, nil
}
