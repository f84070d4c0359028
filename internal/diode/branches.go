package diode

import (
	"cmp"
	"math"
	"slices"
)

const (
	panelSpread      = 0.02 // of retained power between panels of one wiring
	coverSpread      = 0.04 // of the light that a cover lets through
	stuckSpread      = 0.08 // of what a stuck tracker holds
	stuckWeight      = 0.3
	lateralWeight    = 0.15 // a search that picks the second best of two near peaks
	lateralMargin    = 0.1
	farVoltage       = 0.9  // of the old one: a tracker that got here has searched
	splitWeight      = 0.25 // covered sections lie in both strings
	twoStringsSpread = 0.03
)

// CommonBranches returns where controllers end up on a panel with a cover, for
// each wiring. The circuit of a common silicon panel (36 cells a string, 0.45 V
// diodes, CommonCurve) is simulated; its power peaks give the branches:
//
//   - the highest peak, weight 1, or 0.7 where a tracker that stays near the old
//     voltage finds less, which then gets 0.3 and a spread of 0.08; it is the
//     peak that a series string has too, so it predicts no voltage either;
//   - a second peak within 0.1 of the highest: 0.15, off the highest;
//   - series: no voltage is predicted, it depends on the leakage of the cells;
//   - two strings with 2 or more covered: 0.25 for covered sections in both strings.
//
// The spread is sqrt(0.02^2 + (0.04*dr/dt)^2), at least 0.03 for two strings: 0.02
// between panels, 0.04 in the transmission t. All weights and spreads are common
// practice, no source. For one of four sections under a card held close (t 0.05)
// the table agrees within 0.01 with the one that the reference file
// testdata/reference/physics/shading.json judges by, but for the voltage of the
// stuck tracker, 1.05 there: between 0.03 and 0.07 of light left the simulated
// voltage runs from 0.74 to 1.09, and to count it would favour bypass diodes over
// a series string that shows the same.
//
// The only error is that of Cover.Check.
func CommonBranches(cover Cover) (Branches, error) {
	if err := cover.Check(); err != nil {
		return Branches{}, err
	}
	var all Branches
	for k, w := range Wirings() {
		if w == TwoStrings && cover.Sections%2 == 1 {
			continue
		}
		all[k] = branchesOf(w, cover)
	}
	return all, nil
}

// CommonCurve returns a typical 36-cell string of crystalline silicon, 200 W at
// 1000 W/m2 and 25 C. Retained shares hardly depend on it.
func CommonCurve() Curve {
	return Curve{PhotocurrentA: 10.6, SaturationA: 3.3e-11, SeriesOhm: 0.13, ShuntOhm: 150, DiodeV: 0.925}
}

func branchesOf(w Wiring, cover Cover) []Branch {
	cover.Split = false
	plain := peakBranches(w, cover)
	if w != TwoStrings || cover.Covered < 2 {
		return plain
	}
	if cover.Covered == cover.Sections-1 { // no choice: one string full, one section lit
		return plain
	}
	cover.Split = true
	return append(scaled(plain, 1-splitWeight), scaled(peakBranches(w, cover), splitWeight)...)
}

func scaled(branches []Branch, by float64) []Branch {
	var out []Branch
	for _, b := range branches {
		b.Weight *= by
		out = append(out, b)
	}
	return out
}

// peakBranches turns the power peaks under one cover into branches.
func peakBranches(w Wiring, cover Cover) []Branch {
	here, there := commonShade(w, cover), commonShade(w, brighter(cover))
	best, stuck := here.Global(), here.stuck()
	slope := (there.Global().Power - best.Power) / coverSpread
	main := Branch{Weight: 1, Mean: best.Power, Spread: spreadOf(w, slope), VoltageMean: best.Voltage}
	if w == Series {
		main.VoltageMean = 0
		return []Branch{main}
	}
	if stuck.Power < best.Power-panelSpread {
		main.Weight = 1 - stuckWeight
		return []Branch{main, {Weight: stuckWeight, Mean: stuck.Power, Spread: stuckSpread}}
	}
	if other, ok := here.second(); ok && other.Power > best.Power-lateralMargin {
		main.Weight = 1 - lateralWeight
		return []Branch{main, {Weight: lateralWeight, Mean: other.Power, Spread: main.Spread, VoltageMean: other.Voltage}}
	}
	return []Branch{main}
}

// stuck returns what a tracker finds that climbs from the old voltage; where the
// climb would lead it all the way to a distant peak, because next to no light is
// left to hold it, it is taken to stay where it was.
func (s Shaded) stuck() Retained {
	near := s.Near()
	if near.Voltage > farVoltage {
		return near
	}
	return s.relative(PowerPoint{VoltageV: s.Uncovered.VoltageV, PowerW: s.circuit.powerW(s.Uncovered.VoltageV)})
}

// brighter moves the cover by its spread, towards light.
func brighter(cover Cover) Cover {
	cover.Transmission = math.Min(1, cover.Transmission+coverSpread)
	return cover
}

func spreadOf(w Wiring, slope float64) float64 {
	spread := math.Hypot(panelSpread, coverSpread*slope)
	if w == TwoStrings {
		return math.Max(spread, twoStringsSpread)
	}
	return spread
}

// second returns the second highest peak, if there is one.
func (s Shaded) second() (Retained, bool) {
	if len(s.Peaks) < 2 {
		return Retained{}, false
	}
	byPower := slices.Clone(s.Peaks)
	slices.SortFunc(byPower, func(a, b PowerPoint) int { return cmp.Compare(b.PowerW, a.PowerW) })
	return s.relative(byPower[1]), true
}

// commonShade simulates the common panel; cover has been checked.
func commonShade(w Wiring, cover Cover) Shaded {
	p := Panel{
		Wiring: w, String: CommonCurve(), Cells: 36, Sections: cover.Sections,
		DiodeV: 0.45, Breakdown: SiliconBreakdown(),
	}
	dim := p.circuit(cover)
	return Shaded{Uncovered: p.uncovered(), Peaks: dim.peaks(), circuit: dim}
}
