package intake

import (
	"bytes"
	"slices"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/store"
)

// A decision belongs to a revision. What a reviewer has decided, or asked, about a session
// or one of its readings holds for the next revision too as long as nothing that was
// measured changed there: else a tester could shed an exclusion, or would lose a decision,
// by mending a typing error in a note. Where something changed, today's findings are open.

// retain carries decisions over from the revision that j replaces, and notes which findings
// about the session as such are to be opened again.
func retain(kept *fieldtest.StoredSession, j *job) {
	old := Prepare(kept.Session)
	same := sameSurroundings(&old, &j.session) && (j.newRig || j.rig.Revision == kept.RigRevision)
	whole := same && len(old.Readings) == len(j.session.Readings)
	places := map[string]int{}
	for i := range old.Readings {
		places[old.Readings[i].Label] = i
	}
	for i := range j.session.Readings {
		k, ok := places[j.session.Readings[i].Label]
		if !ok || !same || !sameReading(old.Readings[k], j.session.Readings[i]) {
			whole = false
			continue
		}
		r := &j.receipt.Readings[i]
		r.Findings = withDecisions(kept.Readings[k].Findings, r.Findings, true)
	}
	if whole {
		j.receipt.Findings = withDecisions(kept.Findings, j.receipt.Findings, false)
	}
	for i := range kept.Findings {
		f := &kept.Findings[i]
		switch {
		case !isAudited(f.Rule) || f.State == fieldtest.FindingObsolete:
		case whole || f.State == fieldtest.FindingOpen:
			j.spanning = append(j.spanning, *f)
		default:
			opened := *f
			opened.State = fieldtest.FindingOpen
			j.spanning, j.reopened = append(j.spanning, opened), append(j.reopened, f.ID)
		}
	}
}

// withDecisions gives today's findings the decisions on those of before. A finding that an
// audit raised about a reading is taken over; one about a session names no reading and
// holds for all revisions as it is.
func withDecisions(before, today []fieldtest.Finding, ofReading bool) []fieldtest.Finding {
	for i := range before {
		f := before[i]
		if f.State == fieldtest.FindingOpen || f.State == fieldtest.FindingObsolete || len(f.Verdicts) == 0 {
			continue
		}
		from := f.Verdicts[len(f.Verdicts)-1].FindingID
		switch place := counterpart(&f, today); {
		case place >= 0:
			today[place].State, today[place].Retains = f.State, &from
		case ofReading && isAudited(f.Rule):
			f.ID, f.Verdicts, f.Retains, f.Audited = uuid.Nil, nil, &from, true
			today = append(today, f)
		}
	}
	return today
}

// counterpart returns the place of the finding that today says the same, -1 if none does.
// The pointer may differ: readings may have changed places.
func counterpart(f *fieldtest.Finding, today []fieldtest.Finding) int {
	for i := range today {
		if today[i].Rule == f.Rule && today[i].Retains == nil && (f.Rule == ruleNewTester || sameNumbers(f, &today[i])) {
			return i
		}
	}
	return -1
}

// sameSurroundings tells whether all that readings share is the same but for words.
func sameSurroundings(a, b *fieldtest.Session) bool {
	x, y := *a, *b
	for _, s := range []*fieldtest.Session{&x, &y} {
		s.Note, s.ClientRef, s.Readings = "", "", nil
	}
	return sameJSON(x, y)
}

// sameReading tells whether a reading is the same but for words.
func sameReading(a, b fieldtest.Reading) bool {
	a.Note, b.Note, a.Contest, b.Contest = "", "", nil, nil
	return sameJSON(a, b)
}

// sameJSON compares what the members say: the same instant may stand in two time zones of
// the program.
func sameJSON(a, b any) bool {
	x, errA := store.Encode(a)
	y, errB := store.Encode(b)
	return errA == nil && errB == nil && bytes.Equal(x, y)
}

// isAudited tells whether a rule is one of audits.
func isAudited(rule string) bool { return rule != ruleNewTester && !isJudged(rule) }

// setStates gives the readings of a receipt the state that follows from its findings and
// from those that stand outside of it, as a verdict does for stored readings.
func setStates(r *fieldtest.Receipt, outside []fieldtest.Finding) {
	for i := range r.Readings {
		reading := &r.Readings[i]
		reading.State = fieldtest.Counted
		for _, findings := range [][]fieldtest.Finding{outside, r.Findings, reading.Findings} {
			for k := range findings {
				if f := &findings[k]; isAbout(f, reading) {
					reading.State = reading.State.Under(fieldtest.Effect(f.Severity, f.State))
				}
			}
		}
	}
}

// reaching are those of some findings that keep a reading of a receipt from counting.
func reaching(findings []fieldtest.Finding, r *fieldtest.Receipt) []fieldtest.Finding {
	var some []fieldtest.Finding
	for i := range findings {
		f := &findings[i]
		about := slices.ContainsFunc(r.Readings, func(reading fieldtest.JudgedReading) bool { return isAbout(f, &reading) })
		if about && fieldtest.Effect(f.Severity, f.State) != fieldtest.Counted {
			some = append(some, *f)
		}
	}
	return some
}

// isAbout tells whether a finding that names a panel model, an arrangement or a cover
// class names those of a reading.
func isAbout(f *fieldtest.Finding, r *fieldtest.JudgedReading) bool {
	switch {
	case f.PanelModel != nil && (r.PanelModel == nil || *f.PanelModel != *r.PanelModel):
		return false
	case f.Arrangement != nil && *f.Arrangement != r.Arrangement:
		return false
	case f.CoverClass == nil:
		return true
	}
	return r.Result != nil && r.Result.Retention != nil && r.Result.Retention.CoverClass == *f.CoverClass
}
