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

// each returns the members of a list of objects, as the chain made it or as JSON brought
// it back.
func each(list any) []map[string]any {
	switch list := list.(type) {
	case []map[string]any:
		return list
	case []any:
		var all []map[string]any
		for _, p := range list {
			if m, ok := p.(map[string]any); ok {
				all = append(all, m)
			}
		}
		return all
	}
	return nil
}

// heaviest names the largest part of an uncertainty and its relative size.
func heaviest(parts any) (string, float64) {
	name, most := "", 0.0
	for _, p := range each(parts) {
		if share, ok := p["standard_relative"].(float64); ok && share > most {
			if s, ok := p["name"].(string); ok {
				name, most = strings.ReplaceAll(s, "_", " "), share
			}
		}
	}
	return name, most
}
