package internal_test

import (
	"go/ast"
	"go/token"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// Domain packages know no SQL, no HTTP, no clock, no environment and no package state,
// draw no number without a seed, and do not panic.
func TestDomainIsPure(t *testing.T) {
	inOrder(domainSources(t), func(_ string, files []source) {
		for _, fault := range impurities(files) {
			t.Error(fault)
		}
	})
}

// The rules above find what is planted, and nothing in a package that keeps them.
func TestImpurities(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"HTTP", `import "net/http"; var _ http.Handler`, "net/http"},
		{"SQL", `import "database/sql"`, "database/sql"},
		{"driver", `import "github.com/jackc/pgx/v5"`, "pgx"},
		{"files", `import "os"; func F() { _ = os.Getenv("HOME") }`, `"os"`},
		{"programs", `import "os/exec"`, `"os/exec"`},
		{"log", `import "log/slog"`, `"log/slog"`},
		{"clock", `import "time"; func F() time.Time { return time.Now() }`, "time.Now"},
		{"clock as a value", `import "time"; func F() func() time.Time { return time.Now }`, "time.Now"},
		{"wait", `import "time"; func F() { time.Sleep(1) }`, "time.Sleep"},
		{"chance", `import "math/rand/v2"; func F() float64 { return rand.Float64() }`, "rand.Float64"},
		{"panic", `func F() { panic("no") }`, "panic"},
		{"init", `func init() {}`, "init"},
		{"exported variable", `var Limit = 3.0`, "Limit"},
		{"assigned", `var last float64; func F(x float64) { last = x }`, "last"},
		{"counted", `var calls int; func F() { calls++ }`, "calls"},
		{"element assigned", `var seen = map[string]bool{}; func F(s string) { seen[s] = true }`, "seen"},
		{"field assigned", `var state struct{ n int }; func F() { state.n += 1 }`, "state"},
		{"element removed", `var seen = map[string]bool{}; func F(s string) { delete(seen, s) }`, "seen"},
		{"address taken", `var table [4]float64; func F() *[4]float64 { return &table }`, "table"},
		{"synchronised", `import "sync"; var once sync.Once; func F() { once.Do(func() {}) }`, "once"},
	} {
		t.Run(c.name, func(t *testing.T) { wantFaults(t, impurities(planted(t, c.text)), c.want) })
	}
	wantFaults(t, impurities(planted(t, `
import ("errors"; "math/rand/v2"; "time")
var ErrOdd = errors.New("odd")
var table = [...]float64{1, 2}
func F(at time.Time, seed uint64) float64 {
	table := table
	table[0] = rand.New(rand.NewPCG(seed, 0)).Float64()
	return table[0] + at.Add(time.Second).Sub(at).Seconds()
}`)))
}

var outside = regexp.MustCompile(`^(net|net/http|database/sql|os|os/.*|syscall|log|log/slog|flag|github.com/jackc/.*|github.com/labstack/.*)$`)

// ticking are the functions of time that ask the clock or wait for it.
var ticking = regexp.MustCompile(`^(Now|Since|Until|Sleep|After|AfterFunc|Tick|NewTimer|NewTicker)$`)

// impurities returns what the files of one package do against the rules of the domain.
func impurities(files []source) []string {
	var faults []string
	state := packageVariables(files)
	for _, s := range files {
		for _, i := range s.file.Imports {
			if path, _ := strconv.Unquote(i.Path.Value); outside.MatchString(path) {
				faults = append(faults, message(s, i, "imports %s", i.Path.Value))
			}
		}
		faults = append(faults, variableFaults(s)...)
		ast.Inspect(s.file, func(n ast.Node) bool {
			if text := impure(n, state); text != "" {
				faults = append(faults, message(s, n, "%s", text))
			}
			return true
		})
	}
	return faults
}

// packageVariables returns the declarations of the package's variables by name.
func packageVariables(files []source) map[string]*ast.ValueSpec {
	found := map[string]*ast.ValueSpec{}
	for _, s := range files {
		eachVariable(s, func(name *ast.Ident, spec *ast.ValueSpec) { found[name.Name] = spec })
	}
	return found
}

func eachVariable(s source, do func(name *ast.Ident, spec *ast.ValueSpec)) {
	for _, d := range s.file.Decls {
		g, ok := d.(*ast.GenDecl)
		if !ok || g.Tok != token.VAR {
			continue
		}
		for _, spec := range g.Specs {
			for _, name := range spec.(*ast.ValueSpec).Names {
				do(name, spec.(*ast.ValueSpec))
			}
		}
	}
}

// variableFaults finds variables that others could set, but for errors to compare
// with, and those made to change.
func variableFaults(s source) []string {
	var faults []string
	eachVariable(s, func(name *ast.Ident, spec *ast.ValueSpec) {
		selector, _ := spec.Type.(*ast.SelectorExpr)
		of, _ := nameOf(selector)
		switch {
		case name.IsExported() && !strings.HasPrefix(name.Name, "Err"):
			faults = append(faults, message(s, name, "variable %s is open to all", name.Name))
		case of == "sync" || of == "atomic":
			faults = append(faults, message(s, name, "variable %s is made to change", name.Name))
		}
	})
	return faults
}

// impure says what is wrong with a node, or nothing.
func impure(n ast.Node, state map[string]*ast.ValueSpec) string {
	switch n := n.(type) {
	case *ast.SelectorExpr:
		return unseeded(n)
	case *ast.FuncDecl:
		if n.Name.Name == "init" && n.Recv == nil {
			return "func init runs by itself"
		}
	case *ast.CallExpr:
		return impureCall(n, state)
	case *ast.AssignStmt:
		for _, left := range n.Lhs {
			if name := stateIn(left, state); name != "" && n.Tok != token.DEFINE {
				return "variable " + name + " of the package is assigned"
			}
		}
	case *ast.IncDecStmt:
		if name := stateIn(n.X, state); name != "" {
			return "variable " + name + " of the package is counted"
		}
	case *ast.UnaryExpr:
		if name := stateIn(n.X, state); n.Op == token.AND && name != "" {
			return "the address of variable " + name + " of the package is taken"
		}
	}
	return ""
}

// unseeded tells of the clock and of random numbers without a seed.
func unseeded(n *ast.SelectorExpr) string {
	of, name := nameOf(n)
	switch {
	case of == "time" && ticking.MatchString(name):
		return "asks the clock by time." + name
	case of == "rand" && !strings.HasPrefix(name, "New") && name != "Rand" && name != "PCG" && name != "Source":
		return "draws without a seed by rand." + name
	}
	return ""
}

func impureCall(n *ast.CallExpr, state map[string]*ast.ValueSpec) string {
	name, ok := n.Fun.(*ast.Ident)
	if !ok {
		return ""
	}
	switch name.Name {
	case "panic":
		return "panic"
	case "delete", "clear", "copy":
		if of := stateIn(n.Args[0], state); of != "" {
			return "variable " + of + " of the package is changed by " + name.Name
		}
	}
	return ""
}

// nameOf returns package and name of a selector of an imported package.
func nameOf(n *ast.SelectorExpr) (of, name string) {
	if n == nil {
		return "", ""
	}
	if x, ok := n.X.(*ast.Ident); ok && x.Obj == nil {
		return x.Name, n.Sel.Name
	}
	return "", ""
}

// stateIn returns the name of the package's variable that an expression is, or is an
// element or a field of.
func stateIn(e ast.Expr, state map[string]*ast.ValueSpec) string {
	switch e := e.(type) {
	case *ast.IndexExpr:
		return stateIn(e.X, state)
	case *ast.SelectorExpr:
		return stateIn(e.X, state)
	case *ast.ParenExpr:
		return stateIn(e.X, state)
	case *ast.Ident:
		spec, ok := state[e.Name]
		if ok && (e.Obj == nil || e.Obj.Decl == spec) {
			return e.Name
		}
	}
	return ""
}
