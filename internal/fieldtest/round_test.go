package fieldtest_test

import (
	"math"
	"testing"

	"evensun/internal/fieldtest"
)

func TestSignificant(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ x, want float64 }{
		{0, 0}, {12.402000000000015, 12.402}, {-62.05389558453465, -62.0539}, {1234567, 1234570}, {0.00028439080597966146, 0.000284391},
		{99999.95, 100000}, {math.Inf(1), math.Inf(1)}, {5e-324, 5e-324},
	} {
		if got := fieldtest.Significant(c.x); got != c.want {
			t.Errorf("Significant(%v) = %v, want %v", c.x, got, c.want)
		}
	}
	if got := fieldtest.Significant(math.NaN()); !math.IsNaN(got) {
		t.Errorf("Significant(NaN) = %v", got)
	}
}
