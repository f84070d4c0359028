package intake_test

import (
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/intake"
)

// What is sent again in other words is the session that is stored; what was measured
// otherwise is another one.
func TestTheSameReadingsAreOneSession(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	first := d.submit(t, session(t, 0))
	rig, err := d.db.Session(t.Context(), *first.ID)
	if err != nil {
		t.Fatal(err)
	}
	half := 17.9
	cases := map[string]struct {
		change func(*fieldtest.Session)
		same   bool
	}{
		"as it was":        {func(*fieldtest.Session) {}, true},
		"a note":           {func(s *fieldtest.Session) { s.Note = "a cloud came by" }, true},
		"a client_ref":     {func(s *fieldtest.Session) { s.ClientRef = "evening-2" }, true},
		"a label":          {func(s *fieldtest.Session) { s.Readings[1].Label = "second" }, true},
		"a reading's note": {func(s *fieldtest.Session) { s.Readings[2].Note = "windy" }, true},
		"a contest": {func(s *fieldtest.Session) {
			s.Readings[0].Contest = []fieldtest.Contest{{Rule: "current_above_isc", Reason: "label"}}
		}, true},
		"the rig by id":  {func(s *fieldtest.Session) { s.Rig = fieldtest.SessionRig{ID: &rig.RigID} }, true},
		"a nameplate":    {func(s *fieldtest.Session) { s.Readings[0].Panel.Nameplate = &d.model.Nameplate }, true},
		"a voltage":      {func(s *fieldtest.Session) { s.Readings[0].VoltageV = &half }, false},
		"another unit":   {func(s *fieldtest.Session) { s.Readings[0].Panel.Specimen = "unit-2" }, false},
		"a minute later": {func(s *fieldtest.Session) { at := s.Readings[2].TakenAt.Add(time.Minute); s.Readings[2].TakenAt = &at }, false},
		"two readings":   {func(s *fieldtest.Session) { s.Readings = s.Readings[:2] }, false},
	}
	for name, c := range cases {
		s := session(t, 0)
		c.change(&s)
		if again := d.submit(t, s); (*again.ID == *first.ID) != c.same {
			t.Errorf("%s: stored as %s, the first is %s; want the same: %v", name, again.ID, first.ID, c.same)
		}
	}
}

// A session that an earlier program stored is known by the hash that it had then.
func TestSessionsOfEarlierProgramsAreKnownAgain(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	first := d.submit(t, session(t, 0))
	conn := d.connect(t)
	if _, err := conn.Exec(t.Context(), `DELETE FROM session_identity WHERE kind = 'content' AND value = $1`, first.SHA256); err != nil {
		t.Fatal(err)
	}
	if again := d.submit(t, session(t, 0)); *again.ID != *first.ID {
		t.Errorf("it was stored again as %s", again.ID)
	}
}

// A revision cannot make of a session what another one is.
func TestARevisionIsNotAnotherSession(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	d.submit(t, session(t, 0))
	second := d.submit(t, session(t, 1))
	_, _, err := d.in.Revise(t.Context(), d.tester, *second.ID, 1, misread, session(t, 0), intake.SubmitOptions{})
	if kindOf(err) != fieldtest.NameTaken {
		t.Errorf("Revise() to the content of another session = %v, want a refusal", err)
	}
}
