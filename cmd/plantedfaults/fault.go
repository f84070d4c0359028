package main

import (
	"context"
	"errors"
	"fmt"
	"go/ast"
	"go/constant"
	"go/token"
	"go/types"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"golang.org/x/tools/go/packages"
)

// kind says what a fault changes.
type kind string

const (
	coefficient kind = "coefficient" // a number by 1 %, or a small whole number by 1
	sign        kind = "sign"        // + for -, and the other way
	boundary    kind = "boundary"    // the limit itself falls on the other side
	comparison  kind = "comparison"  // a comparison says the contrary
	boolean     kind = "boolean"     // and for or, a not left out
)

// A fault replaces the word old at place by another.
type fault struct {
	pkg   string // import path without the module's name
	dir   string
	place token.Position
	kind  kind
	in    string // function or "package level"
	line  string // source line, without surrounding space
	old   string
	new   string
	nth   int // of the same word in that line, from 1
}

func (f fault) change() string {
	text := f.old + " to " + f.new
	if f.new == "" {
		text = f.old + " left out"
	}
	if f.nth > 1 {
		text += fmt.Sprintf(" (%d)", f.nth)
	}
	return text
}

func (f fault) String() string {
	return fmt.Sprintf("%s/%s:%d:%d: %s | %s", f.pkg, filepath.Base(f.place.Filename), f.place.Line, f.place.Column, f.key(), f.kind)
}

// key names the fault without its line number, as in the list of excuses.
func (f fault) key() string {
	return fmt.Sprintf("%s.%s | %s | %s", f.pkg, f.in, f.line, f.change())
}

// faultsOf loads the packages and lists every fault, in the order of the source.
func faultsOf(ctx context.Context, patterns []string) ([]fault, error) {
	const mode = packages.NeedName | packages.NeedFiles | packages.NeedCompiledGoFiles | packages.NeedSyntax |
		packages.NeedTypes | packages.NeedTypesInfo | packages.NeedImports | packages.NeedModule
	loaded, err := packages.Load(&packages.Config{Context: ctx, Mode: mode}, patterns...)
	if err != nil {
		return nil, err
	}
	var faults []fault
	for _, p := range loaded {
		for _, e := range p.Errors {
			return nil, fmt.Errorf("load %s: %w", p.PkgPath, e)
		}
		if p.Module == nil {
			return nil, fmt.Errorf("load %s: not in a module", p.PkgPath)
		}
		for _, file := range p.Syntax {
			found, err := faultsIn(p, file)
			if err != nil {
				return nil, err
			}
			faults = append(faults, found...)
		}
	}
	if len(faults) == 0 {
		return nil, errors.New("these packages have no place for a fault")
	}
	return faults, nil
}

// faultsIn lists the faults of one file; a generated file has none.
func faultsIn(p *packages.Package, file *ast.File) ([]fault, error) {
	if ast.IsGenerated(file) {
		return nil, nil
	}
	name := p.Fset.Position(file.Pos()).Filename
	source, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	s := &scan{pkg: p, lines: strings.Split(string(source), "\n"), left: map[ast.Node]bool{}}
	for _, d := range file.Decls {
		s.in = "package level"
		if fn, ok := d.(*ast.FuncDecl); ok {
			s.in = functionName(fn)
		}
		ast.Inspect(d, s.visit)
	}
	return s.faults, nil
}

func functionName(fn *ast.FuncDecl) string {
	if fn.Recv == nil || len(fn.Recv.List) == 0 {
		return fn.Name.Name
	}
	return strings.TrimLeft(types.ExprString(fn.Recv.List[0].Type), "*") + "." + fn.Name.Name
}

// A scan walks one file.
type scan struct {
	pkg    *packages.Package
	lines  []string
	in     string
	left   map[ast.Node]bool // nodes to be left alone with all below them
	faults []fault
}

func (s *scan) visit(n ast.Node) bool {
	if n == nil || s.left[n] {
		return false
	}
	switch n := n.(type) {
	case *ast.CallExpr:
		return s.call(n)
	case *ast.IndexExpr:
		s.left[n.Index] = true
	case *ast.SliceExpr:
		s.leaveAlone(n.Low, n.High, n.Max)
	case *ast.ArrayType:
		s.leaveAlone(n.Len)
	case *ast.ImportSpec:
		return false
	case *ast.BasicLit:
		s.number(n)
	case *ast.UnaryExpr:
		s.unary(n)
	case *ast.BinaryExpr:
		s.binary(n)
	case *ast.AssignStmt:
		s.assign(n)
	}
	return true
}

func (s *scan) leaveAlone(list ...ast.Expr) {
	for _, e := range list {
		if e != nil {
			s.left[e] = true
		}
	}
}

// call leaves log calls alone, and the sizes that make and strconv are given.
func (s *scan) call(n *ast.CallExpr) bool {
	var name *ast.Ident
	switch f := ast.Unparen(n.Fun).(type) {
	case *ast.Ident:
		name = f
	case *ast.SelectorExpr:
		name = f.Sel
	default:
		return true
	}
	of := s.pkg.TypesInfo.Uses[name]
	if b, ok := of.(*types.Builtin); ok && b.Name() == "make" {
		return false
	}
	if of == nil || of.Pkg() == nil {
		return true
	}
	path := of.Pkg().Path()
	return path != "log" && path != "log/slog" && path != "strconv"
}

// plant notes a fault that replaces old, which stands at pos.
func (s *scan) plant(pos token.Pos, k kind, old, replacement string) {
	place := s.pkg.Fset.Position(pos)
	line := s.lines[place.Line-1]
	before := line[:min(len(line), place.Column-1)]
	s.faults = append(s.faults, fault{
		pkg: strings.TrimPrefix(s.pkg.PkgPath, s.pkg.Module.Path+"/"), dir: filepath.Dir(place.Filename), place: place,
		kind: k, in: s.in, line: strings.TrimSpace(line), old: old, new: replacement, nth: 1 + strings.Count(before, old),
	})
}

// number moves a number by 1 %; a whole number without a hundredth by 1.
func (s *scan) number(lit *ast.BasicLit) {
	if lit.Kind != token.INT && lit.Kind != token.FLOAT {
		return
	}
	value := constant.MakeFromLiteral(lit.Value, lit.Kind, 0)
	if constant.Sign(value) == 0 {
		return
	}
	whole, exact := constant.Int64Val(constant.ToInt(value))
	switch {
	case s.isFloat(lit) || !exact:
		float, _ := constant.Float64Val(value)
		s.plant(lit.Pos(), coefficient, lit.Value, strconv.FormatFloat(1.01*float, 'g', 10, 64))
	case whole%100 == 0:
		s.plant(lit.Pos(), coefficient, lit.Value, strconv.FormatInt(whole+whole/100, 10))
	default:
		s.plant(lit.Pos(), coefficient, lit.Value, strconv.FormatInt(whole+1, 10))
	}
}

// isFloat tells whether the number is used as a float.
func (s *scan) isFloat(lit *ast.BasicLit) bool {
	basic, ok := s.pkg.TypesInfo.TypeOf(lit).Underlying().(*types.Basic)
	return ok && basic.Info()&types.IsFloat != 0
}

func (s *scan) unary(n *ast.UnaryExpr) {
	switch n.Op {
	case token.SUB:
		s.plant(n.OpPos, sign, "-", "+")
	case token.NOT:
		s.plant(n.OpPos, boolean, "!", "")
	}
}

var (
	opposite = map[token.Token]token.Token{token.ADD: token.SUB, token.SUB: token.ADD, token.ADD_ASSIGN: token.SUB_ASSIGN, token.SUB_ASSIGN: token.ADD_ASSIGN}
	atLimit  = map[token.Token]token.Token{token.LSS: token.LEQ, token.LEQ: token.LSS, token.GTR: token.GEQ, token.GEQ: token.GTR}
	contrary = map[token.Token]token.Token{token.LSS: token.GEQ, token.GEQ: token.LSS, token.GTR: token.LEQ, token.LEQ: token.GTR, token.EQL: token.NEQ, token.NEQ: token.EQL}
	junction = map[token.Token]token.Token{token.LAND: token.LOR, token.LOR: token.LAND}
)

func (s *scan) binary(n *ast.BinaryExpr) {
	if other, ok := opposite[n.Op]; ok && s.isNumber(n.X) {
		s.plant(n.OpPos, sign, n.Op.String(), other.String())
	}
	if other, ok := atLimit[n.Op]; ok {
		s.plant(n.OpPos, boundary, n.Op.String(), other.String())
	}
	if other, ok := contrary[n.Op]; ok {
		s.plant(n.OpPos, comparison, n.Op.String(), other.String())
	}
	if other, ok := junction[n.Op]; ok {
		s.plant(n.OpPos, boolean, n.Op.String(), other.String())
	}
}

func (s *scan) assign(n *ast.AssignStmt) {
	if other, ok := opposite[n.Tok]; ok && s.isNumber(n.Lhs[0]) {
		s.plant(n.TokPos, sign, n.Tok.String(), other.String())
	}
}

func (s *scan) isNumber(e ast.Expr) bool {
	basic, ok := s.pkg.TypesInfo.TypeOf(e).Underlying().(*types.Basic)
	return ok && basic.Info()&types.IsNumeric != 0
}
