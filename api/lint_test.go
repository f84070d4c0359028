package api_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"

	"evensun/api"
	"evensun/internal/fieldtest"

	"github.com/getkin/kin-openapi/openapi3"
)

func document(t *testing.T) *openapi3.T {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromData(api.Document())
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

func TestDocumentIsValid(t *testing.T) {
	t.Parallel()
	// Examples are validated here too: those of requests and answers alike.
	if err := document(t).Validate(t.Context(), openapi3.EnableExamplesValidation()); err != nil {
		t.Fatal(err)
	}
}

// suffixes are the units that a member's name may end in, longest first.
var suffixes = []struct{ suffix, ucum string }{
	{"_percent_per_k", "%/K"}, {"_per_k", "1/K"}, {"_wh_m2", "W.h/m2"}, {"_w_m2", "W/m2"}, {"_m_s", "m/s"}, {"_percent", "%"}, {"_mm2", "mm2"},
	{"_deg", "deg"}, {"_wh", "W.h"}, {"_min", "min"}, {"_kg", "kg"}, {"_m2", "m2"}, {"_c", "Cel"}, {"_v", "V"}, {"_a", "A"}, {"_w", "W"}, {"_m", "m"}, {"_l", "L"},
}

func unitOf(name string) string {
	for _, stat := range []string{"_lo", "_hi", "_u"} { // stc_power_lo_w
		for _, s := range suffixes {
			name = strings.ReplaceAll(name, stat+s.suffix, s.suffix)
		}
	}
	for _, s := range suffixes {
		if strings.HasSuffix(name, s.suffix) {
			return s.ucum
		}
	}
	return ""
}

// everyProperty visits each member of each schema once.
func everyProperty(doc *openapi3.T, visit func(where, name string, input bool, p *openapi3.Schema)) {
	for _, schema := range slices.Sorted(maps.Keys(doc.Components.Schemas)) {
		s := doc.Components.Schemas[schema].Value
		input := s.AdditionalProperties.Has != nil && !*s.AdditionalProperties.Has
		for _, name := range slices.Sorted(maps.Keys(s.Properties)) {
			visit(schema+"."+name, name, input, s.Properties[name].Value)
		}
	}
}

func TestNumbersSayUnitFormatAndBounds(t *testing.T) {
	t.Parallel()
	everyProperty(document(t), func(where, name string, input bool, p *openapi3.Schema) {
		if p.Type.Is("array") && p.Items.Value.Type.Is("number") {
			p = p.Items.Value
		}
		unit, _ := p.Extensions["x-unit-ucum"].(string)
		if p.Type.Is("number") {
			if p.Format != "double" {
				t.Errorf("%s: format %q, want double, or generated code takes it for float32", where, p.Format)
			}
			if unit == "" {
				t.Errorf("%s: no x-unit-ucum", where)
			}
			if input && (p.Min == nil || p.Max == nil) {
				t.Errorf("%s: a number that is sent has no minimum or maximum", where)
			}
		}
		if want := unitOf(name); p.Type.Is("number") && want != "" && unit != want {
			t.Errorf("%s: x-unit-ucum %q, but its name says %q", where, unit, want)
		}
		if unitOf(name) == "" && unit != "" && unit != "1" && unit != "{see unit}" {
			t.Errorf("%s: x-unit-ucum %q does not stand in its name", where, unit)
		}
		if p.Type.Is("integer") && input && (p.Min == nil || p.Max == nil) {
			t.Errorf("%s: a whole number that is sent has no minimum or maximum", where)
		}
	})
}

func TestMembersAreDescribed(t *testing.T) {
	t.Parallel()
	everyProperty(document(t), func(where, name string, _ bool, p *openapi3.Schema) {
		if p.Description == "" {
			t.Errorf("%s: no description", where)
		}
		if name != strings.ToLower(name) || strings.Contains(name, "-") {
			t.Errorf("%s: not in snake_case", where)
		}
	})
}

// On input absent and null mean the same, so what may be left out may be null.
func TestOptionalInputMayBeNull(t *testing.T) {
	t.Parallel()
	doc := document(t)
	for name, ref := range doc.Components.Schemas {
		s := ref.Value
		if s.AdditionalProperties.Has == nil || *s.AdditionalProperties.Has {
			continue
		}
		for member, p := range s.Properties {
			required := slices.Contains(s.Required, member)
			if !required && !p.Value.Nullable {
				t.Errorf("%s.%s may be left out, but not be null", name, member)
			}
			if p.Value.Type.Is("string") && p.Value.MaxLength == nil && p.Value.Pattern == "" && p.Value.Enum == nil && p.Value.Format == "" {
				t.Errorf("%s.%s: a text that is sent has no bound", name, member)
			}
			if p.Value.Type.Is("array") && p.Value.MaxItems == nil {
				t.Errorf("%s.%s: a list that is sent has no bound", name, member)
			}
		}
	}
}

func TestBodiesAreClosed(t *testing.T) {
	t.Parallel()
	doc := document(t)
	seen := map[*openapi3.Schema]bool{}
	var visit func(where string, s *openapi3.Schema)
	visit = func(where string, s *openapi3.Schema) {
		if seen[s] {
			return
		}
		seen[s] = true
		if s.Type.Is("object") && (s.AdditionalProperties.Has == nil || *s.AdditionalProperties.Has) {
			t.Errorf("%s takes unknown members", where)
		}
		if s.Items != nil {
			visit(where+"[]", s.Items.Value)
		}
		for name, p := range s.Properties {
			visit(where+"."+name, p.Value)
		}
	}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			if op.RequestBody != nil {
				for _, media := range op.RequestBody.Value.Content {
					visit(method+" "+path, media.Schema.Value)
				}
			}
		}
	}
}

func TestOperationsDeclareWhoMayAndWhatFails(t *testing.T) {
	t.Parallel()
	doc := document(t)
	known := map[string]bool{}
	for _, code := range words(doc.Extensions["x-problem-codes"]) {
		known[code] = true
	}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			where := method + " " + path
			if op.OperationID == "" || op.Summary == "" || len(op.Tags) != 1 {
				t.Errorf("%s: needs operationId, summary and one tag", where)
			}
			roles := words(op.Extensions["x-roles"])
			if len(roles) == 0 {
				t.Errorf("%s: no x-roles", where)
			}
			for _, r := range roles {
				if !slices.Contains([]string{"anonymous", "tester", "reviewer", "operator"}, r) {
					t.Errorf("%s: role %q", where, r)
				}
			}
			needsKey := !slices.Contains(roles, "anonymous") && len(words(op.Extensions["x-roles-dry-run"])) == 0
			if asks := op.Security != nil && len(*op.Security) == 1; needsKey != asks {
				t.Errorf("%s: security does not say what x-roles %v say", where, roles)
			}
			if owner, _ := op.Extensions["x-owner"].(string); owner == "" {
				t.Errorf("%s: no x-owner", where)
			}
			codes, ok := op.Extensions["x-problem-codes"]
			if !ok {
				t.Errorf("%s: no x-problem-codes", where)
			}
			for _, code := range words(codes) {
				if known[code] {
					t.Errorf("%s: %s holds for every operation already", where, code)
				}
			}
			if op.RequestBody != nil && !slices.Contains(words(codes), "validation_failed") {
				t.Errorf("%s: takes a body but never gives validation_failed", where)
			}
			for _, status := range []string{"4XX", "5XX"} {
				if op.Responses.Value(status) == nil {
					t.Errorf("%s: no response %s", where, status)
				}
			}
			for _, p := range op.Parameters {
				if p.Value.Description == "" {
					t.Errorf("%s: parameter %s is not described", where, p.Value.Name)
				}
				if s := p.Value.Schema.Value; s.Type.Is("array") && (p.Value.Explode == nil || *p.Value.Explode || p.Value.Style != "form") {
					t.Errorf("%s: list parameter %s needs style form, explode false", where, p.Value.Name)
				}
			}
		}
	}
}

func words(v any) []string {
	list, _ := v.([]any)
	var out []string
	for _, w := range list {
		out = append(out, fmt.Sprint(w))
	}
	return out
}

// typesOf are the words of the trade that have a schema.
func typesOf() map[string]reflect.Type {
	types := map[string]reflect.Type{}
	for _, v := range []any{
		fieldtest.Session{}, fieldtest.Site{}, fieldtest.Sky{}, fieldtest.SessionRig{}, fieldtest.Weather{}, fieldtest.Plane{}, fieldtest.Reading{},
		fieldtest.PanelRef{}, fieldtest.Cover{}, fieldtest.Sweep{}, fieldtest.Irradiance{}, fieldtest.Contest{}, fieldtest.PanelModel{}, fieldtest.Nameplate{},
		fieldtest.Construction{}, fieldtest.Size{}, fieldtest.Price{}, fieldtest.Rig{}, fieldtest.Accuracy{}, fieldtest.Resolution{}, fieldtest.Cable{},
		fieldtest.Receipt{}, fieldtest.JudgedReading{}, fieldtest.Result{}, fieldtest.UncertaintyParts{}, fieldtest.Retention{}, fieldtest.Step{},
		fieldtest.Finding{}, fieldtest.Verdict{}, fieldtest.Caution{}, fieldtest.StoredSession{}, fieldtest.SessionSummary{}, fieldtest.StoredPanelModel{},
		fieldtest.StoredPrice{}, fieldtest.StoredRig{}, fieldtest.Tester{}, fieldtest.Key{}, fieldtest.Ranking{}, fieldtest.RankingModel{}, fieldtest.Entry{},
		fieldtest.MaxShift{}, fieldtest.Unranked{}, fieldtest.Pair{}, fieldtest.Comparison{}, fieldtest.Contribution{}, fieldtest.PanelResults{}, fieldtest.Coefficients{},
		fieldtest.MeasureEntry{}, fieldtest.Fault{}, fieldtest.PanelEnergy{}, fieldtest.SunDay{}, fieldtest.DayEnergy{}, fieldtest.Energy{}, fieldtest.DayQuantity{}, fieldtest.Conclusions{}, fieldtest.SessionConclusion{}, fieldtest.WiringConclusion{}, fieldtest.WiringShares{},
		fieldtest.DecidingReading{}, fieldtest.ShadeConclusion{}, fieldtest.FlatConclusion{}, fieldtest.HeatConclusion{}, fieldtest.WeakLightConclusion{},
		fieldtest.SessionOrder{}, fieldtest.SessionPlace{}, fieldtest.Recommendation{}, fieldtest.WeightedUse{}, fieldtest.Candidate{},
		fieldtest.UseFigure{}, fieldtest.Separation{}, fieldtest.LeftOut{},
	} {
		types[reflect.TypeOf(v).Name()] = reflect.TypeOf(v)
	}
	types["NameplateInline"], types["EntryOrNone"] = types["Nameplate"], types["Entry"]
	return types
}

// members returns the JSON names of a struct.
func members(t reflect.Type) []string {
	var names []string
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if name == "-" { // never sent
			continue
		}
		if f.Anonymous && name == "" {
			names = append(names, members(f.Type)...)
			continue
		}
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// The description and the words cannot drift apart.
func TestSchemasAndTypesHaveTheSameMembers(t *testing.T) {
	t.Parallel()
	doc := document(t)
	types := typesOf()
	for name, ref := range doc.Components.Schemas {
		goType, _ := ref.Value.Extensions["x-go-type"].(string)
		if !strings.HasPrefix(goType, "fieldtest.") || !ref.Value.Type.Is("object") {
			continue
		}
		typ, ok := types[name]
		if !ok || typ.Name() != strings.TrimPrefix(goType, "fieldtest.") {
			t.Errorf("schema %s says x-go-type %s, which this test does not know", name, goType)
			continue
		}
		if got, want := slices.Sorted(maps.Keys(ref.Value.Properties)), members(typ); !slices.Equal(got, want) {
			t.Errorf("schema %s has %v, type %s has %v", name, got, typ, want)
		}
		delete(types, name)
	}
	for name := range types {
		t.Errorf("type %s has no schema", name)
	}
}

// What is sent fully reads back as it was: no member is lost between the description
// and the types.
func TestExamplesSurviveTheTypes(t *testing.T) {
	t.Parallel()
	doc := document(t)
	for name, into := range map[string]any{"session": &fieldtest.Session{}, "panel_model": &fieldtest.PanelModel{}, "rig": &fieldtest.Rig{}, "receipt": &fieldtest.Receipt{}} {
		raw, err := json.Marshal(doc.Components.Examples[name].Value.Value)
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(raw, into); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		back, err := json.Marshal(into)
		if err != nil {
			t.Fatal(err)
		}
		var want, got map[string]any
		if json.Unmarshal(raw, &want) != nil || json.Unmarshal(back, &got) != nil {
			t.Fatal("not objects")
		}
		for _, lost := range missing("#", want, got) {
			t.Errorf("example %s: %s is lost or changed", name, lost)
		}
	}
}

// missing lists what of want is not in got, nulls left out.
func missing(where string, want, got any) []string {
	switch want := want.(type) {
	case nil:
		return nil
	case map[string]any:
		have, _ := got.(map[string]any)
		var lost []string
		for k, v := range want {
			lost = append(lost, missing(where+"/"+k, v, have[k])...)
		}
		return lost
	case []any:
		have, _ := got.([]any)
		var lost []string
		for i, v := range want {
			if i >= len(have) {
				return append(lost, where)
			}
			lost = append(lost, missing(fmt.Sprintf("%s/%d", where, i), v, have[i])...)
		}
		return lost
	}
	if !reflect.DeepEqual(want, got) {
		return []string{where}
	}
	return nil
}
