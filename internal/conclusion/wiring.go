package conclusion

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/google/uuid"

	"evensun/internal/diode"
	"evensun/internal/fieldtest"
)

// A Covered is one covered reading that counts.
type Covered struct {
	TesterID  uuid.UUID
	Specimen  string // of the tester's
	Swept     bool   // the whole curve was measured
	Retention *fieldtest.Retention
}

// mostBayes bounds the factor that is told: beyond it the shares of odd readings are not
// known well enough.
const mostBayes = 1e9

// WiringOf returns what covered readings of a panel model say of its wiring. sections is
// what its maker states, nil where nothing is; it matters only without readings.
//
// Source: diode.Library.InferPooled over the units of all testers.
func WiringOf(library *diode.Library, readings []Covered, sections *int) fieldtest.WiringConclusion {
	units, counts := unitsOf(readings)
	in, err := library.InferPooled(diode.CommonPrior(), units)
	if err != nil { // a prior and readings that were checked explain each other always
		units, counts = nil, wiringCounts{}
		in, _ = library.InferPooled(diode.CommonPrior(), nil)
	}
	c := fieldtest.WiringConclusion{
		Conclusion: string(in.Conclusion), Posterior: sharesOf(in.Posterior), Best: string(in.Best), Second: string(in.Second),
		BayesFactor: fieldtest.Significant(math.Min(mostBayes, in.BayesFactor)),
		Readings:    counts.readings, WithVoltage: counts.voltages, Units: len(units), Testers: counts.testers,
	}
	if in.Conclusion == diode.Undecided {
		c.Decides = deciding(library, in, units, sections)
	}
	c.Sentence = wiringSentence(&c)
	return c
}

func sharesOf(p diode.Shares) fieldtest.WiringShares {
	return fieldtest.WiringShares{
		Series: fieldtest.Significant(p.Of(diode.Series)), SeriesBypass: fieldtest.Significant(p.Of(diode.SeriesBypass)),
		Parallel: fieldtest.Significant(p.Of(diode.Parallel)), TwoStrings: fieldtest.Significant(p.Of(diode.TwoStrings)),
	}
}

type wiringCounts struct{ readings, voltages, testers int }

// unitsOf groups readings by unit, and by the number of sections that their tester
// counted; what is no covered reading is left out.
func unitsOf(readings []Covered) ([]diode.Unit, wiringCounts) {
	type key struct {
		tester   uuid.UUID
		specimen string
		sections int
	}
	groups, testers := map[key]diode.Unit{}, map[uuid.UUID]bool{}
	var counts wiringCounts
	for i := range readings {
		r, ok := unitReading(&readings[i])
		if !ok {
			continue
		}
		k := key{readings[i].TesterID, readings[i].Specimen, r.Cover.Sections}
		groups[k], testers[k.tester] = append(groups[k], r), true
		counts.readings++
		if r.VoltageRatio > 0 {
			counts.voltages++
		}
	}
	counts.testers = len(testers)
	keys := make([]key, 0, len(groups))
	for k := range groups {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b key) int {
		return cmp.Or(strings.Compare(a.tester.String(), b.tester.String()), strings.Compare(a.specimen, b.specimen), cmp.Compare(a.sections, b.sections))
	})
	units := make([]diode.Unit, 0, len(keys))
	for _, k := range keys {
		units = append(units, groups[k])
	}
	return units, counts
}

func unitReading(c *Covered) (diode.UnitReading, bool) {
	k := c.Retention
	if k == nil || k.Measure != fieldtest.ShadeRetention || k.SectionsCovered == nil || k.SectionsTotal == nil {
		return diode.UnitReading{}, false
	}
	r := diode.UnitReading{Swept: c.Swept, CoveredReading: diode.CoveredReading{
		Cover:    diode.Cover{Sections: *k.SectionsTotal, Covered: *k.SectionsCovered, Transmission: orZero(k.Transmission)},
		Retained: k.Value, URetained: k.U, VoltageRatio: orZero(k.VoltageRatio),
	}}
	return r, r.Check() == nil
}

func orZero(x *float64) float64 {
	if x == nil {
		return 0
	}
	return *x
}

// deciding is the reading that would tell the two leading wirings apart.
func deciding(library *diode.Library, in diode.Inference, units []diode.Unit, sections *int) *fieldtest.DecidingReading {
	if len(units) == 0 {
		return firstReading(in, sections)
	}
	next, err := library.NextReading(in, units[0][0].Cover.Sections)
	if err != nil {
		return nil
	}
	d := &fieldtest.DecidingReading{
		SectionsCovered: next.Cover.Covered, SectionsTotal: &next.Cover.Sections, Transmission: next.Cover.Transmission,
		Best: string(next.Best), Second: string(next.Second),
	}
	if !hiddenByRig(d) { // else it depends on who reads
		chance := fieldtest.Significant(next.DecisionChance)
		d.Chance = &chance
	}
	d.Sentence = decidingSentence(d)
	return d
}

// hiddenByRig tells whether a controller that never searches would see two wirings as one.
func hiddenByRig(d *fieldtest.DecidingReading) bool {
	pair := []string{d.Best, d.Second}
	return slices.Contains(pair, string(diode.Series)) && slices.Contains(pair, string(diode.SeriesBypass))
}

// firstReading is what to begin with: of two sections or more one in the dark, with the
// voltage, by which parallel sections and bypass diodes differ most.
func firstReading(in diode.Inference, sections *int) *fieldtest.DecidingReading {
	d := &fieldtest.DecidingReading{SectionsCovered: 1, SectionsTotal: sections, Transmission: 0.05, Best: string(in.Best), Second: string(in.Second)}
	d.Sentence = decidingSentence(d)
	return d
}

// SessionWirings returns what a session's covered readings say of the wiring of each unit,
// in the order of the readings.
func SessionWirings(library *diode.Library, readings []fieldtest.JudgedReading) []fieldtest.SessionConclusion {
	out := []fieldtest.SessionConclusion{}
	type unit struct{ model, specimen string }
	seen := map[unit]bool{}
	for i := range readings {
		u := unit{modelOf(&readings[i]), readings[i].Specimen}
		if readings[i].Arrangement != fieldtest.Covered || seen[u] {
			continue
		}
		seen[u] = true
		var covered []Covered
		for j := i; j < len(readings); j++ {
			r := &readings[j]
			if r.Result != nil && r.Arrangement == fieldtest.Covered && (unit{modelOf(r), r.Specimen}) == u {
				covered = append(covered, Covered{Specimen: r.Specimen, Swept: r.Kind == fieldtest.IVSweep, Retention: r.Result.Retention})
			}
		}
		out = append(out, fieldtest.SessionConclusion{PanelModel: readings[i].PanelModel, Specimen: readings[i].Specimen, Wiring: WiringOf(library, covered, nil)})
	}
	return out
}

func modelOf(r *fieldtest.JudgedReading) string {
	if r.PanelModel == nil {
		return ""
	}
	return *r.PanelModel
}

// said is a wiring in words.
func said(w string) string {
	switch diode.Wiring(w) {
	case diode.Series:
		return "one string without bypass diodes"
	case diode.SeriesBypass:
		return "one string with a bypass diode over each section"
	case diode.Parallel:
		return "sections in parallel"
	case diode.TwoStrings:
		return "two parallel strings with bypass diodes"
	}
	return "undecided"
}

func wiringSentence(c *fieldtest.WiringConclusion) string {
	if c.Readings == 0 {
		return "Nobody has read it with sections covered, so its wiring is not known."
	}
	what := fmt.Sprintf("%s, %s", count(c.Readings, "covered reading"), count(c.Units, "unit"))
	if c.Conclusion != string(diode.Undecided) {
		return fmt.Sprintf("%s: %s, at a probability of %.0f %%.", upper(said(c.Conclusion)), what, 100*math.Min(0.99, best(c.Posterior)))
	}
	return fmt.Sprintf("Undecided between %s and %s after %s.", said(c.Best), said(c.Second), what)
}

func best(p fieldtest.WiringShares) float64 {
	return max(p.Series, p.SeriesBypass, p.Parallel, p.TwoStrings)
}

func decidingSentence(d *fieldtest.DecidingReading) string {
	how := "something opaque held close"
	if d.Transmission > 0.1 {
		how = fmt.Sprintf("cloth that lets %.0f %% of the light through", 100*d.Transmission)
	}
	of := ""
	if d.SectionsTotal != nil {
		of = fmt.Sprintf(" of %d", *d.SectionsTotal)
	}
	read := "restart the controller's search, and read volts and watts before and after"
	if hiddenByRig(d) {
		read = "and sweep the whole curve, or read it with the controllers of other testers"
	}
	return fmt.Sprintf("Cover %d%s sections with %s, %s: that tells %s from %s.", d.SectionsCovered, of, how, read, said(d.Best), said(d.Second))
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
