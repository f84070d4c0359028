package contract

import (
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"evensun/internal/fieldtest"

	"github.com/getkin/kin-openapi/openapi3"
)

// An Operation is what the description says of one method of one path.
type Operation struct {
	ID          string
	Method      string
	Path        string // as in the description, /v1/rigs/{rig_id}
	Roles       []fieldtest.Role
	DryRunRoles []fieldtest.Role // who may call it with dry_run=true
	Owner       string           // whose things it is about, x-owner
	Body        string           // schema of the JSON body; empty: takes none
	Codes       []string         // problem codes of its own

	query, path, header map[string]parameter
}

type parameter struct {
	node     *node
	required bool
}

// Operations returns all operations in the order of their paths and methods. A
// description without roles or owner on an operation is an error: what is not
// declared must not be served.
func (c *Contract) Operations() ([]*Operation, error) {
	var all []*Operation
	for path, item := range c.document.Paths.Map() {
		for method, op := range item.Operations() {
			o, err := c.operation(path, method, op)
			if err != nil {
				return nil, fmt.Errorf("%s %s: %w", method, path, err)
			}
			all = append(all, o)
		}
	}
	slices.SortFunc(all, func(a, b *Operation) int {
		return strings.Compare(a.Path+" "+a.Method, b.Path+" "+b.Method)
	})
	return all, nil
}

func (c *Contract) operation(path, method string, op *openapi3.Operation) (*Operation, error) {
	o := &Operation{ID: op.OperationID, Method: method, Path: path,
		Roles: roles(op, "x-roles"), DryRunRoles: roles(op, "x-roles-dry-run"), Codes: words(op, "x-problem-codes"),
		query: map[string]parameter{}, path: map[string]parameter{}, header: map[string]parameter{}}
	o.Owner, _ = op.Extensions["x-owner"].(string)
	if len(o.Roles) == 0 || o.Owner == "" {
		return nil, fmt.Errorf("declares no x-roles or x-owner")
	}
	compile := compiler{done: map[*openapi3.Schema]*node{}}
	for _, ref := range op.Parameters {
		p := ref.Value
		n, err := compile.node(p.Schema.Value, p.Name)
		if err != nil {
			return nil, err
		}
		in, ok := map[string]map[string]parameter{"query": o.query, "path": o.path, "header": o.header}[p.In]
		if !ok {
			return nil, fmt.Errorf("parameter %s stands in %s", p.Name, p.In)
		}
		in[p.Name] = parameter{node: n, required: p.Required}
	}
	if op.RequestBody != nil {
		if media := op.RequestBody.Value.Content.Get("application/json"); media != nil {
			o.Body = media.Schema.Ref[strings.LastIndexByte(media.Schema.Ref, '/')+1:]
		}
	}
	return o, nil
}

func roles(op *openapi3.Operation, key string) []fieldtest.Role {
	var all []fieldtest.Role
	for _, w := range words(op, key) {
		all = append(all, fieldtest.Role(w))
	}
	return all
}

func words(op *openapi3.Operation, key string) []string {
	list, _ := op.Extensions[key].([]any)
	var all []string
	for _, w := range list {
		if s, ok := w.(string); ok {
			all = append(all, s)
		}
	}
	return all
}

// Allows tells whether a caller of that role may call the operation.
func (o *Operation) Allows(role fieldtest.Role, dryRun bool) bool {
	return slices.Contains(o.Roles, role) || dryRun && slices.Contains(o.DryRunRoles, role)
}

// Takes tells whether the operation has a query parameter of that name.
func (o *Operation) Takes(name string) bool {
	_, ok := o.query[name]
	return ok
}

// Check holds the parameters of a request against the description. at returns the
// value of a path parameter. The error is a *fieldtest.Refusal: not_found for a path
// that names nothing that can exist, else invalid_parameter with every fault.
func (o *Operation) Check(at func(string) string, query url.Values, header http.Header) error {
	for name, p := range o.path {
		if f, bad := paramFault(p.node, at(name)); bad {
			if f.Code == "not_one_of" || f.Code == "wrong_form" {
				return fieldtest.Missing(strings.TrimSuffix(name, "_id"), Cut(at(name)))
			}
			f.Parameter = name
			return parameterRefusal([]fieldtest.Fault{f}, nil)
		}
	}
	var faults []fieldtest.Fault
	unknown := false
	for _, name := range slices.Sorted(maps.Keys(query)) {
		f, bad := o.queryFault(name, query[name])
		if bad {
			f.Parameter = Cut(name)
			faults = append(faults, f)
			unknown = unknown || f.Code == "unknown_parameter"
		}
	}
	faults = append(faults, o.missing(query)...)
	faults = append(faults, o.headerFaults(header)...)
	if len(faults) == 0 {
		return nil
	}
	if unknown {
		return parameterRefusal(faults, slices.Sorted(maps.Keys(o.query)))
	}
	return parameterRefusal(faults, nil)
}

func parameterRefusal(faults []fieldtest.Fault, allowed []string) *fieldtest.Refusal {
	r := &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "A parameter of the request is not right.", Faults: faults}
	if allowed != nil {
		r.Extra = map[string]any{"allowed": allowed}
	}
	return r
}

func (o *Operation) queryFault(name string, values []string) (fieldtest.Fault, bool) {
	p, known := o.query[name]
	switch {
	case !known && strings.HasPrefix(values[0], "evs_"):
		return fieldtest.Fault{Code: "key_in_query", Reason: "A key belongs in the Authorization header. This one stands in logs now: revoke it."}, true
	case !known:
		f := fieldtest.Fault{Code: "unknown_parameter", Reason: "There is no such parameter here."}
		if near, ok := nearest(name, nodesOf(o.query)); ok {
			f.Reason += fmt.Sprintf(" Is %q meant?", near)
		}
		return f, true
	case len(values) > 1:
		return fieldtest.Fault{Code: "repeated_parameter", Reason: "This parameter stands there twice. Join several values by commas."}, true
	}
	return paramFault(p.node, values[0])
}

func nodesOf(params map[string]parameter) map[string]*node {
	nodes := make(map[string]*node, len(params))
	for name, p := range params {
		nodes[name] = p.node
	}
	return nodes
}

func (o *Operation) missing(query url.Values) []fieldtest.Fault {
	var faults []fieldtest.Fault
	for name, p := range o.query {
		if p.required && !query.Has(name) {
			faults = append(faults, fieldtest.Fault{Parameter: name, Code: "required", Reason: "Missing."})
		}
	}
	slices.SortFunc(faults, func(a, b fieldtest.Fault) int { return strings.Compare(a.Parameter, b.Parameter) })
	return faults
}

func (o *Operation) headerFaults(header http.Header) []fieldtest.Fault {
	var faults []fieldtest.Fault
	for name, p := range o.header {
		if len(header.Values(name)) > 1 {
			faults = append(faults, fieldtest.Fault{Header: name, Code: "repeated_header", Reason: "This header stands there twice. Send it once."})
			continue
		}
		value := header.Get(name)
		if value == "" {
			continue
		}
		if f, bad := paramFault(p.node, value); bad {
			f.Header = name
			faults = append(faults, f)
		}
	}
	slices.SortFunc(faults, func(a, b fieldtest.Fault) int { return strings.Compare(a.Header, b.Header) })
	return faults
}

var (
	decimal = regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?$`)
	whole   = regexp.MustCompile(`^-?[0-9]+$`)
)

// paramFault returns what is wrong with a parameter's text, if anything is.
func paramFault(n *node, s string) (fieldtest.Fault, bool) {
	switch n.kind {
	case array:
		return listFault(n, strings.Split(s, ","))
	case number, integer:
		if !decimal.MatchString(s) || n.kind == integer && !whole.MatchString(s) {
			return fieldtest.Fault{Code: "wrong_type", Value: Cut(s), Limit: typeName(n.kind), Reason: "Must be " + typeWords(n.kind) + "."}, true
		}
		return numberFault(n, s)
	case boolean:
		if s != "true" && s != "false" {
			return fieldtest.Fault{Code: "wrong_type", Value: Cut(s), Limit: "boolean", Reason: "Must be true or false."}, true
		}
		return fieldtest.Fault{}, false
	}
	if strings.ContainsRune(s, 0) {
		return fieldtest.Fault{Code: "nul_character", Reason: "Holds a NUL character."}, true
	}
	if !utf8.ValidString(s) {
		return fieldtest.Fault{Code: "not_utf8", Reason: "Is not valid UTF-8."}, true
	}
	if n.format == "date-time" {
		return timeParamFault(n, s)
	}
	return textFault(n, []byte(s))
}

// timeParamFault also names the two faults that times have in an address alone.
func timeParamFault(n *node, s string) (fieldtest.Fault, bool) {
	f, bad := formatFault(n, s)
	switch {
	case bad && strings.Contains(s, " "):
		f.Reason += " In an address a plus sign is written %2B."
	case !bad && leapSecond.MatchString(s):
		return fieldtest.Fault{Code: "not_a_time", Value: Cut(s), Reason: "A filter takes no leap second; write second 59."}, true
	}
	return f, bad
}

func listFault(n *node, items []string) (fieldtest.Fault, bool) {
	if len(items) < n.minItems {
		return tooFew(len(items), n.minItems), true
	}
	if n.maxItems >= 0 && len(items) > n.maxItems {
		return tooMany(len(items), n.maxItems), true
	}
	for _, item := range items {
		if f, bad := paramFault(n.items, item); bad {
			return f, true
		}
	}
	return fieldtest.Fault{}, false
}

// Needs tells whether the operation has a header parameter of that name.
func (o *Operation) Needs(header string) bool {
	_, ok := o.header[header]
	return ok
}
