package internal_test

import (
	"go/ast"
	"regexp"
	"strings"
	"testing"
)

// unstated counts, by package, what the comments of its exported numeric functions still
// leave unsaid of unit, range, error and source. Lower a number when the comments
// improve; a package that is not listed must say all.
var unstated = map[string]int{
	"audit":      1,
	"caution":    14,
	"combine":    3,
	"compare":    96,
	"conclusion": 4,
	"diode":      43,
	"energy":     18,
	"fieldtest":  12,
	"interlab":   24,
	"limits":     150,
	"ranking":    14,
	"ranks":      16,
	"seedrand":   6,
	"snapshot":   5,
}

// Every exported numeric function of the domain says in its comment the unit of what it
// returns, the range of what it takes, its error and its source with the place in it.
func TestNumericFunctionsSayAll(t *testing.T) {
	inOrder(domainSources(t), func(name string, files []source) {
		faults := unsaid(files)
		if len(faults) > unstated[name] {
			t.Errorf("package %s leaves %d things unsaid, at most %d (internal/numbers_test.go); say unit, range, \"Error:\" and \"Source:\" with equation, table or clause:", name, len(faults), unstated[name])
			report(t, faults)
		}
	})
}

func TestUnsaid(t *testing.T) {
	const good = `
// Whole returns the power in W of a panel in light of poaWM2 (0 to 1500 W/m2).
//
// Error: the formula to rounding.
//
// Source: A. Author, Journal 1 (2001) 2, equation 3.
func Whole(poaWM2 float64) float64 { return poaWM2 }

// Table is an area with a coefficient.
type Table struct{ AreaM2 float64 }

// Default returns the table in m2, for 0 to 3 panels.
// Error: none. Source: common practice, no source.
func Default() Table { return Table{} }

// Name needs none of it.
func Name(t Table) string { return "" }

// unexported needs none of it.
func unexported(x float64) float64 { return x }

type hidden struct{}

// Method of an unexported type needs none of it.
func (hidden) Method() float64 { return 0 }
`
	wantFaults(t, unsaid(planted(t, good)))
	for old, want := range map[string]string{
		"power in W of a panel in light of poaWM2 (0 to 1500 W/m2)": "Whole does not say: unit|Whole does not say: range",
		"(0 to 1500 W/m2)":           "Whole does not say: range",
		"Error: the":                 "Whole does not say: error",
		"Source: A.":                 "Whole does not say: source",
		", equation 3":               "Whole does not say: place in the source",
		"common practice, no source": "Default does not say: place in the source",
	} {
		wantFaults(t, unsaid(planted(t, strings.Replace(good, old, "", 1))), strings.Split(want, "|")...)
	}
	wantFaults(t, unsaid(planted(t, "// Sum returns it.\nfunc (t *Table) Sum() []float64 { return nil }")), "unit", "error", "source")
}

// What a comment says, by the words that say it. A source without a place in it says why:
// that it is common practice, a definition, a law, our own, or as another function's.
var (
	saysUnit  = regexp.MustCompile(`\b(W|Wh|kWh|V|mV|A|mA|C|K|degC|deg|rad|m|mm|mm2|m2|km|s|h|min|ms|Pa|hPa|ohm|kg|J|eV|m/s|W/m2|kg/m2|year|years|days|hours|degrees|dB)\b|%|\d/K\b|\b[A-Z]/|/K\b|(?i)\b(without unit|no unit|dimensionless|unit of|units of|share|ratio|factor|fraction|probability|p-value|p-values|logarithm|correlation|degrees of freedom|count|relative|number of|standard deviations|standard errors|score|variance|quantile)\b`)
	saysRange = regexp.MustCompile(`-?\d[\d.,e-]*( %)?( [\w/]+)? (to|and|or|up to) -?\d|(?i)\b(at least|at most|above|below|more than|less than|between|any|positive|negative|finite|never|not empty|empty|up|every|all of|or more|or less|NaN)\b`)
	saysError = regexp.MustCompile(`\bErrors?( and source)?:`)
	fromWhere = regexp.MustCompile(`(?s)(?:\bSources?|\bError and source):(.*)`)
	saysPlace = regexp.MustCompile(`(?i)\b(equations?|eqs?\.|tables?|clauses?|sections?|chapters?|appendix|annex|procedures?|theorem|lemma|algorithm|figures?|pages?|pp?\. ?\d|article|law|common practice|from memory|definition|no source|none|our own|this project|derivative|by hand)\b|\b[A-Z]?\.?\d+\.\d+|\b(as|those of) (the )?(\w+\.)?[A-Z]\w+`)
)

// unsaid returns what is missing above every exported numeric function of the files.
func unsaid(files []source) []string {
	var faults []string
	numeric := numericTypes(files)
	functions(files, func(s source, fn *ast.FuncDecl) {
		if !fn.Name.IsExported() || !exportedReceiver(fn) || !numeric.in(fn.Type.Results) {
			return
		}
		for _, what := range missingFrom(fn.Doc.Text(), numeric.in(fn.Type.Params)) {
			faults = append(faults, message(s, fn, "%s does not say: %s", fn.Name.Name, what))
		}
	})
	return faults
}

// missingFrom lists what the comment leaves out; a function that takes no number needs no
// range.
func missingFrom(doc string, takesNumbers bool) []string {
	var missing []string
	want := func(there bool, what string) {
		if !there {
			missing = append(missing, what)
		}
	}
	doc = strings.Join(strings.Fields(doc), " ")
	beforeSource, _, _ := strings.Cut(doc, "Source:")
	want(saysUnit.MatchString(beforeSource), "unit")
	want(!takesNumbers || saysRange.MatchString(doc), "range")
	want(saysError.MatchString(doc), "error")
	from := fromWhere.FindStringSubmatch(doc)
	want(from != nil, "source")
	want(from == nil || saysPlace.MatchString(from[1]), "place in the source (equation, table, clause; or why there is none)")
	return missing
}

// numericTypes are the struct types of a package with a number among their fields.
type numbers map[string]bool

func numericTypes(files []source) numbers {
	found := numbers{}
	for _, s := range files {
		ast.Inspect(s.file, func(n ast.Node) bool {
			if t, ok := n.(*ast.TypeSpec); ok {
				if of, ok := t.Type.(*ast.StructType); ok && found.in(of.Fields) {
					found[t.Name.Name] = true
				}
			}
			return true
		})
	}
	return found
}

// in tells whether a list of fields, parameters or results holds a number.
func (n numbers) in(list *ast.FieldList) bool {
	if list == nil {
		return false
	}
	for _, f := range list.List {
		if n.holds(f.Type) {
			return true
		}
	}
	return false
}

func (n numbers) holds(e ast.Expr) bool {
	switch e := e.(type) {
	case *ast.Ident:
		return e.Name == "float64" || n[e.Name]
	case *ast.StarExpr:
		return n.holds(e.X)
	case *ast.ArrayType:
		return n.holds(e.Elt)
	case *ast.MapType:
		return n.holds(e.Value)
	case *ast.Ellipsis:
		return n.holds(e.Elt)
	}
	return false
}
