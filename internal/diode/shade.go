package diode

import "math"

// A Wiring says how the sections of a folding panel are connected.
type Wiring string

// The wirings. ParallelBlocking is used in simulations only: readings cannot
// tell it from Parallel, so Infer knows the other four.
const (
	Series           Wiring = "series"            // all sections in one string, no bypass diodes
	SeriesBypass     Wiring = "series_bypass"     // one string, a bypass diode across each section
	Parallel         Wiring = "parallel"          // all sections in parallel, no blocking diodes
	ParallelBlocking Wiring = "parallel_blocking" // all in parallel, each behind a blocking diode
	TwoStrings       Wiring = "two_strings"       // two parallel strings of half the sections, with bypass
)

const (
	// ErrWiring says that the wiring is none of those above.
	ErrWiring Fault = "wiring is unknown"
	// ErrOddSections says that two equal strings cannot be made of the sections.
	ErrOddSections Fault = "two strings need an even number of sections"
)

// A Panel is a folding panel of equal sections, evenly lit.
type Panel struct {
	Wiring Wiring
	// String is the curve of one complete string of cells: the whole panel in
	// Series and SeriesBypass, one section in Parallel, half the panel in TwoStrings.
	String    Curve
	Cells     int       // cells in series in String
	Sections  int       // equal sections of the panel, 2 to 24
	DiodeV    float64   // forward drop of each bypass or blocking diode: 0.45 Schottky, 0.7 silicon
	Breakdown Breakdown // of each cell
}

// A Cover says how much of a panel is in shade.
type Cover struct {
	Sections     int     // of the panel, at least 2
	Covered      int     // whole sections in shade, 1 to Sections-1
	Transmission float64 // light left there as a share of full light, 0 to 1
	// Split matters to two strings only: covered sections are dealt to both
	// strings in turn. Otherwise they fill one string first.
	Split bool
}

// Check returns nil for a cover with both lit and covered sections, else a *RangeError.
func (c Cover) Check() error {
	return firstFault(
		within("Sections", float64(c.Sections), 2, 24),
		within("Covered", float64(c.Covered), 1, float64(c.Sections-1)),
		within("Transmission", c.Transmission, 0, 1),
	)
}

// A Shaded is the power that a covered panel can give, against the same panel
// uncovered: every local maximum of its power curve.
type Shaded struct {
	Uncovered PowerPoint   // maximum power without the cover
	Peaks     []PowerPoint // local maxima under the cover, by rising voltage; none if it gives nothing

	circuit circuit
}

// Shade simulates a panel under a cover. Transmission that is the same over a
// section and none that crosses sections are assumed; covered cells keep their
// temperature.
//
// Error: retained power 1e-6 of the uncovered power against the circuit. Against
// a real panel the shunt and breakdown of its cells decide what is left of a
// series string in the dark: 0.01 with a shunt of 4 ohm a cell, 0.05 with 1 ohm.
//
// Errors are a *RangeError, ErrWiring or ErrOddSections.
//
// Source: Bishop 1988. Checked in testdata/reference/physics/shading.json.
func Shade(p Panel, cover Cover) (Shaded, error) {
	if err := p.check(cover); err != nil {
		return Shaded{}, err
	}
	dim := p.circuit(cover)
	return Shaded{Uncovered: p.uncovered(), Peaks: dim.peaks(), circuit: dim}, nil
}

// uncovered returns the maximum power of the whole panel without a cover, searched
// near that of the plain curve: Bishop's term takes 2e-5 of it, a blocking diode
// moves it by its drop.
func (p Panel) uncovered() PowerPoint {
	whole := p.circuit(Cover{Sections: p.Sections})
	v := p.String.MaximumPower().VoltageV
	low := 0.95 * v
	if p.Wiring == ParallelBlocking {
		low = math.Max(0, low-p.DiodeV)
	}
	return whole.refine(low, math.Min(1.02*v, whole.openV))
}

func (p Panel) check(cover Cover) error {
	if err := cover.Check(); err != nil {
		return err
	}
	if err := p.String.Check(); err != nil {
		return err
	}
	if err := p.Breakdown.Check(); err != nil {
		return err
	}
	if err := firstFault(
		above("PhotocurrentA", p.String.PhotocurrentA, 0),
		within("Cells", float64(p.Cells), 1, 10000),
		within("Sections", float64(p.Sections), float64(cover.Sections), float64(cover.Sections)),
		within("DiodeV", p.DiodeV, 0, 2),
	); err != nil {
		return err
	}
	switch p.Wiring {
	case Series, SeriesBypass, Parallel, ParallelBlocking:
		return nil
	case TwoStrings:
		if p.Sections%2 == 1 {
			return ErrOddSections
		}
		return nil
	}
	return ErrWiring
}

// circuit connects the sections of the panel under a cover.
func (p Panel) circuit(cover Cover) circuit {
	n, k := p.Sections, cover.Covered
	openV := p.String.OpenCircuitV()
	chainOf := func(sections, covered int) chain { return p.chain(sections, covered, cover.Transmission) }
	switch p.Wiring {
	case Parallel, ParallelBlocking:
		return circuit{[]chain{chainOf(1, 0), chainOf(1, 1)}, []float64{float64(n - k), float64(k)}, openV}
	case TwoStrings:
		first := min(k, n/2)
		if cover.Split {
			first = (k + 1) / 2
		}
		return circuit{[]chain{chainOf(n/2, first), chainOf(n/2, k-first)}, []float64{1, 1}, openV}
	}
	return circuit{[]chain{chainOf(n, k)}, []float64{1}, openV}
}

// chain makes one string of sections, some of them covered.
func (p Panel) chain(sections, covered int, transmission float64) chain {
	cell := p.String.Cell(float64(p.Cells), p.Breakdown)
	one := section{cell: cell, cells: float64(p.Cells) / float64(sections), bypassV: math.Inf(1)}
	if p.Wiring == SeriesBypass || p.Wiring == TwoStrings {
		one.bypassV = p.DiodeV
	}
	dim := one
	dim.cell = cell.Shaded(transmission)
	return chain{
		lit: one, covered: dim, litCount: float64(sections - covered), coveredCount: float64(covered),
		blocking: p.Wiring == ParallelBlocking, blockingV: p.DiodeV,
	}
}

func highest(points []PowerPoint) PowerPoint {
	var best PowerPoint
	for _, p := range points {
		if p.PowerW > best.PowerW {
			best = p
		}
	}
	return best
}

// A Retained is what a controller finds on a covered panel.
type Retained struct {
	Power   float64 // power against the uncovered maximum, 0 to 1
	Voltage float64 // voltage against that of the uncovered maximum; 0 with no power
}

// Global returns what a tracker finds that searches the whole curve.
func (s Shaded) Global() Retained { return s.relative(highest(s.Peaks)) }

// Near returns what a tracker finds that climbs from the voltage of the uncovered
// maximum and stops at the first local maximum. A panel with bypass diodes then
// seems to have none.
func (s Shaded) Near() Retained {
	v := s.Uncovered.VoltageV
	here := s.circuit.powerW(v)
	step := s.circuit.openV / 400
	if s.circuit.powerW(v-step) > s.circuit.powerW(v+step) {
		step = -step
	}
	for range 400 {
		next := s.circuit.powerW(v + step)
		if next <= here || v+step <= 0 {
			break
		}
		v, here = v+step, next
	}
	low := math.Max(0, v-math.Abs(step))
	return s.relative(s.circuit.refine(low, v+math.Abs(step)))
}

// AtLeast returns what a converter finds that searches the whole curve but needs
// lowestV at its input, as a step-down controller needs its battery's voltage
// and a volt or so (14 V for a battery of 12 V, common practice, no source).
func (s Shaded) AtLeast(lowestV float64) Retained {
	best := PowerPoint{VoltageV: lowestV, PowerW: s.circuit.powerW(lowestV)}
	for _, p := range s.Peaks {
		if p.VoltageV >= lowestV && p.PowerW > best.PowerW {
			best = p
		}
	}
	return s.relative(best)
}

func (s Shaded) relative(p PowerPoint) Retained {
	if !(p.PowerW > 0) || !(s.Uncovered.PowerW > 0) {
		return Retained{}
	}
	return Retained{Power: p.PowerW / s.Uncovered.PowerW, Voltage: p.VoltageV / s.Uncovered.VoltageV}
}
