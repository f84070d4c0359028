package intake

import (
	"fmt"

	"github.com/go-json-experiment/json"
)

// encode writes an answer as JSON: lists that are empty as [], members of maps sorted,
// and signs such as < as they are.
func encode(what string, value any) ([]byte, error) {
	raw, err := json.Marshal(value, json.Deterministic(true))
	if err != nil {
		return nil, fmt.Errorf("encode %s: %w", what, err)
	}
	return raw, nil
}
