package explain

import (
	"reflect"
	"strings"
)

// length counts a list, as the chain made it or as JSON brought it back.
func length(list any) int {
	v := reflect.ValueOf(list)
	if v.Kind() != reflect.Slice {
		return 0
	}
	return v.Len()
}

// heaviest names the largest part of an uncertainty and its relative size.
func heaviest(parts any) (string, float64) {
	name, most := "", 0.0
	look := func(p map[string]any) {
		if share, ok := p["standard_relative"].(float64); ok && share > most {
			if s, ok := p["name"].(string); ok {
				name, most = strings.ReplaceAll(s, "_", " "), share
			}
		}
	}
	switch list := parts.(type) {
	case []map[string]any:
		for _, p := range list {
			look(p)
		}
	case []any:
		for _, p := range list {
			if m, ok := p.(map[string]any); ok {
				look(m)
			}
		}
	}
	return name, most
}
