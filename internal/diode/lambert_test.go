package diode_test

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"testing"

	"evensun/internal/diode"
	"evensun/internal/reftest"
)

func ExampleLambertW() {
	fmt.Printf("%.15f\n", diode.LambertW(1)) // the omega constant
	// Output: 0.567143290409784
}

// checkRange fails unless err is a RangeError about name.
func checkRange(t *testing.T, err error, name string) {
	t.Helper()
	var out *diode.RangeError
	if !errors.As(err, &out) || out.Name != name {
		t.Errorf("error %v, want a RangeError about %s", err, name)
	}
}

func TestLambertW(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ x, want float64 }{
		{0, 0},
		{1, 0.56714329040978387300},           // omega constant, OEIS A030178
		{math.E, 1},                           // by definition
		{2 * math.E * math.E, 2},              // by definition
		{10, 1.74552800274069938308},          // solves w + ln w = ln 10
		{-math.Ln2 / 2, -math.Ln2},            // by definition: -ln2*exp(-ln2)
		{10 * math.Exp(10), 10},               // by definition
		{300 * math.Exp(300), 300},            // by definition
		{1e-10, 1e-10 - 1e-20 + 1.5e-30},      // series
		{-1 / math.E, -1},                     // branch point
		{math.Inf(1), math.Inf(1)},            //
		{0.5 * math.Exp(0.5), 0.5},            //
		{-0.01 * math.Exp(-0.01), -0.01},      //
		{-0.9 * math.Exp(-0.9), -0.9},         // near the branch point: 1e-13
		{-0.999 * math.Exp(-0.999), -0.999},   // nearer, see tolerance below
		{1e300, 684.247208629760830728888388}, // w + ln w = ln x
	} {
		tol := 1e-14 * math.Abs(c.want)
		if c.x < -0.3 { // rounding of x itself moves W by eps/(1+w)
			tol = 4e-16 / math.Max(1e-8, 1+c.want)
		}
		if got := diode.LambertW(c.x); !(math.Abs(got-c.want) <= tol) && got != c.want {
			t.Errorf("LambertW(%v) = %.17g, want %.17g within %g", c.x, got, c.want, tol)
		}
	}
	for _, x := range []float64{math.NaN(), -0.4, -1, math.Inf(-1)} {
		if got := diode.LambertW(x); !math.IsNaN(got) {
			t.Errorf("LambertW(%v) = %v, want NaN", x, got)
		}
	}
}

// The residual w + ln w - y, formed in 200 bits, tells the relative error of w.
func TestLambertWExp(t *testing.T) {
	t.Parallel()
	for y := -700.0; y < 1e7; y += math.Max(0.37, math.Abs(y)*0.05) {
		w := diode.LambertWExp(y)
		residual := new(big.Float).SetPrec(200).SetFloat64(w)
		residual.Add(residual, bigLog(w)).Sub(residual, big.NewFloat(y))
		off, _ := residual.Float64()
		if relative := off / (1 + w); math.Abs(relative) > 1e-14 && math.Abs(off) > 2e-16*math.Abs(y) {
			t.Errorf("LambertWExp(%v) = %v, off by %g relative", y, w, relative)
		}
	}
}

// bigLog is ln w in 200 bits: math.Log and one Newton step, with the exponential
// summed for the positive argument, where its series has no cancellation.
func bigLog(w float64) *big.Float {
	wide := func(x float64) *big.Float { return new(big.Float).SetPrec(200).SetFloat64(x) }
	l := math.Log(w)
	e, term := wide(1), wide(1)
	for k := 1.0; toFloat(term) > 1e-40*toFloat(e); k++ {
		term.Mul(term, wide(math.Abs(l))).Quo(term, wide(k))
		e.Add(e, term)
	}
	if l < 0 {
		e.Quo(wide(1), e)
	}
	ratio := wide(w)
	ratio.Quo(ratio, e).Sub(ratio, wide(1))
	return ratio.Add(ratio, wide(l))
}

func toFloat(x *big.Float) float64 { f, _ := x.Float64(); return f }

func FuzzLambertW(f *testing.F) {
	for _, x := range []float64{-1 / math.E, -0.367, -0.01, 0, 1e-300, 1, 3, 1e10, 1e300} {
		f.Add(x)
	}
	f.Fuzz(func(t *testing.T, x float64) {
		x = reftest.Fold(x, -1/math.E, 1e300)
		w := diode.LambertW(x)
		if !(w >= -1) || (x > 0) != (w > 0) {
			t.Fatalf("LambertW(%v) = %v: below -1 or of the wrong sign", x, w)
		}
		if w > 1 {
			if back := w + math.Log(w); math.Abs(back-math.Log(x)) > 1e-13*math.Max(1, back) {
				t.Errorf("LambertW(%v) = %v, w + ln w = %v, want %v", x, w, back, math.Log(x))
			}
			return
		}
		if back := w * math.Exp(w); math.Abs(back-x) > 1e-15+1e-14*math.Abs(x) {
			t.Errorf("LambertW(%v) = %v, but w*exp(w) = %v", x, w, back)
		}
		if next := diode.LambertW(x + 0.01); !(next > w) {
			t.Errorf("W falls from %v to %v after %v", w, next, x)
		}
	})
}

func FuzzLambertWExp(f *testing.F) {
	for _, y := range []float64{-1e9, -700, -1, -0.999, 0, 1, 2, 2.001, 700, 1e9} {
		f.Add(y)
	}
	f.Fuzz(func(t *testing.T, y float64) {
		y = reftest.Fold(y, -1e12, 1e12)
		w := diode.LambertWExp(y)
		if !(w >= 0) || math.IsInf(w, 0) {
			t.Fatalf("LambertWExp(%v) = %v, want a number, 0 or more", y, w)
		}
		if more := diode.LambertWExp(y + 0.1 + math.Abs(y)*1e-9); more < w {
			t.Errorf("LambertWExp falls after %v: %v, then %v", y, w, more)
		}
		if y < 700 && y > -700 && math.Abs(diode.LambertW(math.Exp(y))-w) > 1e-12*w {
			t.Errorf("LambertWExp(%v) = %v, but LambertW of the exponential %v", y, w, diode.LambertW(math.Exp(y)))
		}
	})
}
