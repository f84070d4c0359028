package sheet

import (
	"bytes"
	"encoding/json"
	"strings"
)

// A tree is a JSON object in the making. Its values are trees, lists of trees and JSON
// texts.
type tree map[string]any

// put sets the member at a path, as site/latitude_deg. Where it is set already to
// something else, it stays, and put returns what it is.
func (t tree) put(path string, value json.RawMessage) (first string, differs bool) {
	parent, name := t.parent(path, true)
	if old, set := parent[name]; set {
		raw, _ := old.(json.RawMessage)
		return string(raw), !sameJSON(raw, value)
	}
	parent[name] = value
	return "", false
}

// sameJSON compares two values; numbers with other digits are other values.
func sameJSON(a, b any) bool {
	x, errX := json.Marshal(a)
	y, errY := json.Marshal(b)
	return errX == nil && errY == nil && bytes.Equal(x, y)
}

// parent returns the object that holds a path's last member, made on the way if asked.
func (t tree) parent(path string, create bool) (tree, string) {
	at := t
	parts := strings.Split(path, "/")
	for _, name := range parts[:len(parts)-1] {
		next, ok := at[name].(tree)
		if !ok {
			next = tree{}
			if create {
				at[name] = next
			}
		}
		at = next
	}
	return at, parts[len(parts)-1]
}

func (t tree) has(path string) bool {
	parent, name := t.parent(path, false)
	_, ok := parent[name]
	return ok
}

func (t tree) drop(path string) {
	parent, name := t.parent(path, false)
	delete(parent, name)
}

// text returns a member as text: what a string says, or the digits of a number.
func (t tree) text(path string) string {
	parent, name := t.parent(path, false)
	raw, ok := parent[name].(json.RawMessage)
	if !ok {
		return ""
	}
	var s string
	if err := json.Unmarshal(raw, &s); err != nil {
		return string(raw)
	}
	return s
}

func (t tree) branch(name string) tree {
	b, ok := t[name].(tree)
	if !ok {
		b = tree{}
	}
	return b
}

func (t tree) add(name string, item tree) {
	list, _ := t[name].([]tree)
	t[name] = append(list, item)
}

func (t tree) list(name string) []tree {
	list, _ := t[name].([]tree)
	return list
}
