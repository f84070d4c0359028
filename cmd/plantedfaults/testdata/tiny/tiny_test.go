package tiny

import (
	"math"
	"testing"
)

func TestFare(t *testing.T) {
	for km, want := range map[float64]float64{0.999: 0, 1.009: 2.8027, 10: 5.5} {
		if got := Fare(km); math.Abs(got-want) > 1e-9 {
			t.Errorf("Fare(%v) = %v, want %v", km, got, want)
		}
	}
}

func TestSteps(t *testing.T) {
	for _, c := range []struct {
		n     int
		tired bool
		want  bool
	}{{0, false, false}, {1, false, true}, {-1, false, false}, {1, true, false}, {400, true, true}, {404, true, false}} {
		if got := Steps(c.n, c.tired); got != c.want {
			t.Errorf("Steps(%v, %v) = %v", c.n, c.tired, got)
		}
	}
}

func TestForever(t *testing.T) {
	if got := Forever(5); got != 0 {
		t.Errorf("Forever(5) = %v", got)
	}
}
