package contract

import (
	"fmt"
	"regexp"

	"github.com/getkin/kin-openapi/openapi3"
)

// kind is the JSON type that a schema asks for.
type kind byte

const (
	anything kind = iota
	object
	array
	text
	number
	integer
	boolean
)

// A node is a schema made ready for the walk.
type node struct {
	kind     kind
	nullable bool
	unit     string // UCUM, for faults

	// objects
	members  map[string]*node
	required []string
	closed   bool // unknown members are refused

	// arrays
	items    *node
	minItems int
	maxItems int // -1: no bound

	// numbers
	min, max       *float64
	exMin, exMax   bool
	allowedNumbers []float64

	// text
	minLength int
	maxLength int // in code points; -1: no bound
	pattern   *regexp.Regexp
	format    string
	allowed   []string
}

// A compiler turns schemas into nodes, each schema once.
type compiler struct {
	done map[*openapi3.Schema]*node
}

func (c *compiler) node(s *openapi3.Schema, where string) (*node, error) {
	if n, ok := c.done[s]; ok {
		return n, nil
	}
	if len(s.OneOf)+len(s.AnyOf)+len(s.AllOf) > 0 || s.Not != nil || s.UniqueItems || s.MultipleOf != nil {
		return nil, fmt.Errorf("%s: uses a keyword that bodies are not checked for", where)
	}
	n := &node{kind: kindOf(s), nullable: s.Nullable, format: s.Format, maxItems: -1, maxLength: -1}
	c.done[s] = n
	n.unit, _ = s.Extensions["x-unit-ucum"].(string)
	n.min, n.max, n.exMin, n.exMax = s.Min, s.Max, s.ExclusiveMin.IsTrue(), s.ExclusiveMax.IsTrue()
	n.minLength, n.minItems = int(s.MinLength), int(s.MinItems)
	if s.MaxLength != nil {
		n.maxLength = int(*s.MaxLength)
	}
	if s.MaxItems != nil {
		n.maxItems = int(*s.MaxItems)
	}
	for _, e := range s.Enum {
		switch e := e.(type) {
		case string:
			n.allowed = append(n.allowed, e)
		case float64:
			n.allowedNumbers = append(n.allowedNumbers, e)
		}
	}
	if s.Pattern != "" {
		p, err := regexp.Compile(s.Pattern)
		if err != nil {
			return nil, fmt.Errorf("%s: pattern: %w", where, err)
		}
		n.pattern = p
	}
	return n, c.children(n, s, where)
}

func (c *compiler) children(n *node, s *openapi3.Schema, where string) (err error) {
	n.required = s.Required
	if len(n.required) > 63 {
		return fmt.Errorf("%s: more than 63 required members", where)
	}
	n.closed = s.AdditionalProperties.Has != nil && !*s.AdditionalProperties.Has
	if s.Items != nil {
		if n.items, err = c.node(s.Items.Value, where+"/items"); err != nil {
			return err
		}
	}
	n.members = make(map[string]*node, len(s.Properties))
	for name, p := range s.Properties {
		if n.members[name], err = c.node(p.Value, where+"/"+name); err != nil {
			return err
		}
	}
	return nil
}

func kindOf(s *openapi3.Schema) kind {
	switch {
	case s.Type.Is("object"):
		return object
	case s.Type.Is("array"):
		return array
	case s.Type.Is("string"):
		return text
	case s.Type.Is("number"):
		return number
	case s.Type.Is("integer"):
		return integer
	case s.Type.Is("boolean"):
		return boolean
	}
	return anything
}
