package contract

import (
	"bytes"
	"errors"
	"fmt"
	"sync"

	"evensun/api"
	"evensun/internal/fieldtest"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// A Contract is an interface description made ready for checking.
type Contract struct {
	document *openapi3.T
	schemas  map[string]*node
}

// Load returns the contract that an OpenAPI 3.0 document states.
func Load(document []byte) (*Contract, error) {
	doc, err := openapi3.NewLoader().LoadFromData(document)
	if err != nil {
		return nil, fmt.Errorf("load the interface's description: %w", err)
	}
	c := &Contract{document: doc, schemas: map[string]*node{}}
	compile := compiler{done: map[*openapi3.Schema]*node{}}
	for name, ref := range doc.Components.Schemas {
		if c.schemas[name], err = compile.node(ref.Value, name); err != nil {
			return nil, fmt.Errorf("schema %w", err)
		}
	}
	return c, nil
}

// Own returns the contract of the embedded description, loaded once.
func Own() (*Contract, error) { return own() }

var own = sync.OnceValues(func() (*Contract, error) { return Load(api.Document()) })

// Document returns the description, with references resolved.
func (c *Contract) Document() *openapi3.T { return c.document }

// decode reads a body that was found good. Should it fail nevertheless, the schema
// and the type do not agree. Duplicate members were looked for already.
func decode[T any](raw []byte, to *T) error {
	if err := json.Unmarshal(raw, to, json.WithUnmarshalers(lenient), jsontext.AllowDuplicateNames(true)); err != nil {
		return fmt.Errorf("decode a body that was checked: %w", err)
	}
	return nil
}

// check returns the faults of a body in document order, and how many more there are.
// A body that is no JSON is refused with an error.
func (c *Contract) check(raw []byte, schema string) ([]fieldtest.Fault, int, error) {
	n, ok := c.schemas[schema]
	if !ok {
		return nil, 0, fmt.Errorf("no schema %q in the interface's description", schema)
	}
	if len(bytes.TrimSpace(raw)) == 0 {
		return nil, 0, malformed(fieldtest.Fault{Pointer: "#", Code: "empty", Reason: "The body is empty."})
	}
	if f, bad := nulIn(raw); bad {
		return nil, 0, malformed(f)
	}
	w := newWalk(raw)
	err := w.value(n)
	if err == nil {
		err = w.end()
	}
	if syntax, ok := errors.AsType[*jsontext.SyntacticError](err); ok {
		return nil, 0, malformed(syntaxFault(raw, syntax))
	}
	if err != nil {
		return nil, 0, fmt.Errorf("read a body: %w", err)
	}
	return w.faults, w.omitted, nil
}

func refuse(faults []fieldtest.Fault, omitted int) *fieldtest.Refusal {
	r := &fieldtest.Refusal{Kind: fieldtest.ValidationFailed, Detail: detail(len(faults) + omitted), Faults: faults}
	if omitted > 0 {
		r.Extra = map[string]any{"errors_omitted": omitted}
	}
	return r
}

func detail(n int) string {
	if n == 1 {
		return "The body has a fault. Nothing was stored."
	}
	return fmt.Sprintf("The body has %d faults. Nothing was stored.", n)
}

func malformed(f fieldtest.Fault) *fieldtest.Refusal {
	return &fieldtest.Refusal{Kind: fieldtest.MalformedRequest, Detail: "The body cannot be read as JSON. Nothing was stored.", Faults: []fieldtest.Fault{f}}
}
