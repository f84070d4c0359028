package ranking

import (
	"fmt"

	"evensun/internal/fieldtest"
)

// A backlog is what is stored of a panel model for a dataset without counting in it.
type backlog struct {
	held, excluded int
	unusable       int  // counted, but without a result that may be ranked
	elsewhere      bool // read in other arrangements
}

// backlogs are those of all panel models with a reading, by slug.
func backlogs(in *Inputs, observations []Observation, dataset string) map[string]*backlog {
	out := map[string]*backlog{}
	d := Dataset{Name: dataset}
	arrangement, class := d.Arrangement()
	for i := range observations {
		o := &observations[i]
		b := out[o.Panel]
		if b == nil {
			b = &backlog{}
			out[o.Panel] = b
		}
		switch {
		case o.Arrangement != arrangement || !ofClass(o, class):
			b.elsewhere = true
		case o.State == fieldtest.Held:
			b.held++
		case o.State == fieldtest.Excluded:
			b.excluded++
		case o.State == fieldtest.Counted && !usableIn(in, o):
			b.unusable++
		}
	}
	return out
}

// ofClass tells whether a reading is of a class of cover. One whose class is not known
// yet, as its reference has no result, is taken for the first.
func ofClass(o *Observation, class string) bool {
	if class == "" {
		return true
	}
	if o.Result == nil || o.Result.Retention == nil {
		return class == CoverClasses()[0]
	}
	return o.Result.Retention.CoverClass == class
}

func usableIn(in *Inputs, o *Observation) bool {
	if o.Arrangement == fieldtest.Tilted {
		return usable(o, in.Rules.MaxU)
	}
	return o.Result != nil && o.Result.Retention != nil
}

// unread says why a panel model has no figure in a dataset, and what would give it one.
func (b *backlog) unread(in *Inputs, p *Panel, a fieldtest.Arrangement) (reason, needs string) {
	switch {
	case b.held > 0:
		return "readings_held", waiting(b.held)
	case a == fieldtest.Tilted && p.PmaxW == nil:
		return "no_rating", "the panel's rated power in W"
	case b.unusable > 0 && a == fieldtest.Tilted:
		return "readings_too_uncertain", fmt.Sprintf("readings with an uncertainty below %.0f %%, as in full sun with a light meter", 100*in.Rules.MaxU)
	case b.unusable > 0:
		return "no_reference", "in one session, a reading of the same unit tilted and uncovered"
	case b.excluded > 0:
		return "readings_excluded", "readings that no reviewer excludes"
	case a == fieldtest.Covered:
		return "no_readings", "a covered reading, and in the same session one of the same unit uncovered"
	case a == fieldtest.Flat:
		return "no_readings", "a reading flat on the ground, and in the same session one of the same unit tilted"
	}
	return "no_readings", "a first session with the panel tilted towards the sun"
}

// waiting says how many readings a reviewer must look at.
func waiting(held int) string {
	if held == 1 {
		return "a verdict: 1 reading waits for a reviewer"
	}
	return fmt.Sprintf("a verdict: %d readings wait for a reviewer", held)
}

// unreadPanels are those panel models that have readings, but none in the fit.
func (f *Fitted) unreadPanels(in *Inputs) []fieldtest.Unranked {
	var out []fieldtest.Unranked
	a, _ := f.Arrangement()
	for i := range in.Panels {
		p := &in.Panels[i]
		b := f.backlog[p.Slug]
		if b == nil || f.holds(p.Slug) {
			continue
		}
		reason, needs := b.unread(in, p, a)
		out = append(out, fieldtest.Unranked{PanelModel: p.Slug, Reason: reason, Needs: needs, Held: b.held})
	}
	return out
}
