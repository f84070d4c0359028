package compare_test

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"

	"evensun/internal/compare"
	"evensun/internal/seedrand"
)

// Large tables of readings with known true values, a port of
// testdata/reference/statistics/generate.py: one SplitMix64 stream, draws in the same order,
// values rounded as they are printed there. writeText writes the same bytes; their MD5 sums
// are in scale.json beside that script. Testers have very unequal activity, panels very
// unequal popularity, sessions two to five panels. Normals by G. Box, M. Muller, Ann. Math.
// Stat. 29 (1958) 610-611.

// A size says how much is drawn.
type size struct{ Panels, Testers, Sessions, Readings int } // Readings: in each session

// smallSize returns the size with 240 readings.
func smallSize() size { return size{12, 8, 40, 6} }

// tenthSize returns the size with 100,000 readings.
func tenthSize() size { return size{500, 400, 10000, 10} }

// fullSize returns the size with 1,000,000 readings.
func fullSize() size { return scaledSize(1) }

// scaledSize returns the full size times a factor above 0.
func scaledSize(factor float64) size {
	return size{int(5000 * factor), int(4000 * factor), int(100000 * factor), 10}
}

// syntheticSeed is the seed of the published checksums.
const syntheticSeed = 20260614

// A synthetic is a table with the codes printed in Text and the truth behind it.
type synthetic struct {
	Table   compare.Table // panel codes without gaps
	Panel   []int32       // number of each panel code
	Session []int32       // number of each session code
	Tester  []int32       // number of each tester code
	U       []float64     // standard uncertainty of each reading
	Truth   []float64     // true log share of rating, by panel code
}

const (
	sdPanel        = 0.08
	sdTester       = 0.020
	sdSession      = 0.030
	sdTesterPanel  = 0.012
	sdSessionPanel = 0.008
	sdExtra        = 0.006
)

// generator draws as the script does: Box-Muller normals, two uniforms each.
type generator struct{ *seedrand.Stream }

func (s generator) normal() float64 {
	a, b := s.Uniform(), s.Uniform()
	return math.Sqrt(-2*math.Log(1-a)) * math.Cos(2*math.Pi*b)
}

func (s generator) normals(n int, mean, sd float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = mean + float64(sd*s.normal())
	}
	return out
}

// drawSynthetic returns a table; corrupt is the share of sessions (0 to 1) in which one
// panel is 15 to 50 % off.
func drawSynthetic(n size, seed uint64, corrupt float64) synthetic {
	g := generator{seedrand.New(seed)}
	mu := g.normals(n.Panels, -0.12, sdPanel)
	tester := g.normals(n.Testers, 0, sdTester)
	sessions := make([][]int32, n.Testers)
	for s := range n.Sessions {
		t := int(float64(n.Testers) * squared(g.Uniform()))
		sessions[t] = append(sessions[t], int32(s))
	}
	pools := make([][]int32, n.Testers)
	for t := range pools {
		pools[t] = g.pool(n.Panels, min(60, n.Panels, 4+g.IntN(12)+len(sessions[t])/8))
	}
	d := synthetic{}
	d.reserve(n.Sessions * n.Readings)
	for t := range pools {
		opinions := map[int32]float64{}
		for _, s := range sessions[t] {
			d.session(g, n.Readings, mu, tester[t], int32(t), s, pools[t], opinions, corrupt)
		}
	}
	d.compact(mu)
	return d
}

func squared(x float64) float64 { return x * x }

// pool draws the panels of a tester, the first ones more often.
func (s generator) pool(panels, want int) []int32 {
	var out []int32
	for tries := 0; len(out) < want && tries < 20*want; tries++ {
		if i := int32(float64(panels) * squared(s.Uniform())); !slices.Contains(out, i) {
			out = append(out, i)
		}
	}
	return out
}

func (d *synthetic) reserve(n int) {
	d.U = make([]float64, 0, n)
	d.Table = compare.Table{Value: make([]float64, 0, n), Variance: make([]float64, 0, n), Panel: make([]int32, 0, n),
		Tester: make([]int32, 0, n), Session: make([]int32, 0, n)}
}

func (d *synthetic) session(g generator, readings int, mu []float64, bias float64, t, s int32, pool []int32, opinions map[int32]float64, corrupt float64) {
	k := min(len(pool), 2+g.IntN(4))
	pick := slices.Clone(pool)
	for j := range k {
		r := j + g.IntN(len(pick)-j)
		pick[j], pick[r] = pick[r], pick[j]
	}
	hour := sdSession * g.normal()
	cell := g.normals(k, 0, sdSessionPanel)
	bad := g.Uniform() < corrupt
	victim := g.IntN(k)
	shift := 0.15 + float64(0.35*g.Uniform())
	if g.Uniform() >= 0.5 {
		shift = -shift
	}
	for r := range readings {
		j := r % k
		i := pick[j]
		if _, ok := opinions[i]; !ok {
			opinions[i] = sdTesterPanel * g.normal()
		}
		u := rounded(0.008+float64(0.022*g.Uniform()), 5)
		y := mu[i] + bias + hour + opinions[i] + cell[j] + float64(sdExtra*g.normal())
		y += float64(u * g.normal())
		if bad && j == victim {
			y += shift
		}
		d.add(rounded(y, 6), u, i, t, s)
	}
}

// rounded returns the value a reader of the printed decimals gets.
func rounded(x float64, decimals int) float64 {
	v, err := strconv.ParseFloat(strconv.FormatFloat(x, 'f', decimals, 64), 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

func (d *synthetic) add(y, u float64, i, t, s int32) {
	d.Table.Value, d.Table.Variance, d.U = append(d.Table.Value, y), append(d.Table.Variance, u*u), append(d.U, u)
	d.Table.Panel, d.Table.Tester, d.Table.Session = append(d.Table.Panel, i), append(d.Table.Tester, t), append(d.Table.Session, s)
}

// compact renumbers the codes without gaps, in their order.
func (d *synthetic) compact(mu []float64) {
	d.Panel = renumber(d.Table.Panel)
	d.Tester = renumber(d.Table.Tester)
	d.Session = renumber(d.Table.Session)
	for _, i := range d.Panel {
		d.Truth = append(d.Truth, mu[i])
	}
}

func renumber(codes []int32) []int32 {
	place := make([]int32, slices.Max(codes)+1)
	for _, c := range codes {
		place[c] = 1
	}
	var numbers []int32
	for c, used := range place {
		if used == 1 {
			place[c] = int32(len(numbers))
			numbers = append(numbers, int32(c))
		}
	}
	for k, c := range codes {
		codes[k] = place[c]
	}
	return numbers
}

// writeText writes the table as the script prints it.
func (d synthetic) writeText(w io.Writer) error {
	out := bufio.NewWriter(w)
	fmt.Fprintln(out, "value,standard_uncertainty,panel,tester,session")
	t := d.Table
	for k, y := range t.Value {
		fmt.Fprintf(out, "%.6f,%.5f,p%04d,t%04d,s%06d\n", y, d.U[k], d.Panel[t.Panel[k]], d.Tester[t.Tester[k]], d.Session[t.Session[k]])
	}
	return out.Flush()
}
