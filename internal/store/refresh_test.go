package store_test

import (
	"context"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"evensun/internal/fieldtest"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

func TestMarksLiveUntilCovered(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	sequence := w.save(t, w.session(t, 1))
	m, err := w.db.LeaseMark(t.Context(), time.Minute)
	if err != nil || m == nil || m.Group != "tilted" || m.Gen != sequence {
		t.Fatalf("LeaseMark() = %+v, %v, want tilted at %d", m, err, sequence)
	}
	if second, err := w.db.LeaseMark(t.Context(), time.Minute); err != nil || second != nil {
		t.Errorf("LeaseMark() of a leased mark = %+v, %v, want none", second, err)
	}
	later := w.save(t, w.session(t, 1))
	if err := w.db.FinishMark(t.Context(), *m); err != nil {
		t.Fatal(err)
	}
	again, err := w.db.LeaseMark(t.Context(), time.Minute)
	if err != nil || again == nil || again.Gen != later {
		t.Fatalf("LeaseMark() after a write in between = %+v, %v, want gen %d", again, err, later)
	}
	if err := w.db.FinishMark(t.Context(), *again); err != nil {
		t.Fatal(err)
	}
	if none, err := w.db.LeaseMark(t.Context(), time.Minute); err != nil || none != nil {
		t.Errorf("LeaseMark() after all is covered = %+v, %v, want none", none, err)
	}
}

// A write touches the group while the worker lets go of its mark, and commits after
// that has begun: the mark must be free at once, not when its lease runs out.
func TestMarkIsFreeAfterAWriteThatCommitsMeanwhile(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	db := storetest.Open(t, url)
	w := worldOn(t, db)
	w.save(t, w.session(t, 1))
	m, err := db.LeaseMark(t.Context(), time.Hour)
	if err != nil || m == nil {
		t.Fatalf("LeaseMark() = %+v, %v, want a mark", m, err)
	}
	conn := storetest.Connect(t, url)
	writer, err := conn.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := writer.Exec(t.Context(), "UPDATE dirty SET gen = gen + 1"); err != nil {
		t.Fatal(err)
	}
	finished := make(chan error, 1)
	go func() { finished <- db.FinishMark(t.Context(), *m) }()
	waiting := storetest.Bounded(t, "FinishMark to wait for the write")
	for blocked := 0; blocked == 0; {
		err := writer.QueryRow(waiting, "SELECT count(*) FROM pg_locks WHERE pg_backend_pid() = ANY (pg_blocking_pids(pid))").Scan(&blocked)
		if err != nil {
			t.Fatal(err, context.Cause(waiting))
		}
	}
	if err := writer.Commit(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := storetest.Await(t, finished, "FinishMark to end"); err != nil {
		t.Fatal(err)
	}
	if again, err := db.LeaseMark(t.Context(), time.Hour); err != nil || again == nil || again.Gen != m.Gen+1 {
		t.Errorf("LeaseMark() = %+v, %v, want gen %d", again, err, m.Gen+1)
	}
}

func TestExpiredLeaseIsTaken(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.save(t, w.session(t, 1))
	for range 2 {
		if m, err := w.db.LeaseMark(t.Context(), 0); err != nil || m == nil {
			t.Errorf("LeaseMark() of an expired lease = %+v, %v, want it", m, err)
		}
	}
}

func TestObservationsHoldWhatWasStored(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.session(t, 2)
	s.Judged[1].State = fieldtest.Held
	sequence := w.save(t, s)
	got, through, err := w.db.Observations(t.Context(), fieldtest.Tilted)
	if err != nil || through != sequence || len(got) != 2 {
		t.Fatalf("Observations() = %d through %d, %v, want 2 through %d", len(got), through, err, sequence)
	}
	r := s.Judged[0].Result
	want := store.Observation{ReadingID: *s.Judged[0].ID, SessionID: s.ID, SessionRevision: 1, SHA256: s.SHA256, TesterID: w.tester.ID,
		RigID: w.rig.ID, RigRevision: 1, RigKind: fieldtest.MPPTController, PanelModel: slug, Specimen: "unit-1", Label: "1", TakenAt: noon,
		LatitudeDeg: 38.5, LongitudeDeg: -106, Arrangement: fieldtest.Tilted, Kind: fieldtest.OperatingPoint, State: fieldtest.Counted, Rankable: true, Metered: true,
		StcPowerW: r.StcPowerW, StcPowerUW: r.StcPowerUW, Parts: r.Parts, GammaRelative: r.GammaRelative, LowLight: r.LowLightRelative,
		EffectiveWM2: r.EffectiveWM2, CellC: r.CellC}
	if diff := cmp.Diff(want, got[0]); diff != "" {
		t.Errorf("Observations(): -want +got\n%s", diff)
	}
	if got[1].State != fieldtest.Held {
		t.Errorf("second observation is %s, want held", got[1].State)
	}
}

func TestResultsAreReplaced(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := w.session(t, 1)
	w.save(t, s)
	s.Judged[0].Result = result(150)
	w.write(t, func(ctx context.Context, tx *store.Tx) error {
		return tx.Rejudge(ctx, []store.Rejudgement{{SessionID: s.ID, Revision: 1, Readings: s.Judged}})
	})
	got, err := w.db.Session(t.Context(), s.ID)
	if err != nil || got.Readings[0].Result.StcPowerW != 150 {
		t.Errorf("Session() after Rejudge = %+v, %v, want 150 W", got.Readings[0].Result, err)
	}
}

func ranking(through int64, body string) store.RankingRow {
	return store.RankingRow{Measure: fieldtest.StcPower, ComputedThrough: through, ComputedAt: noon, SHA256: "a", Body: []byte(body)}
}

func TestRankingsAreReplacedByNewerOnly(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	detail := store.DetailRow{PanelModel: slug, Measure: fieldtest.StcPower, ComputedThrough: 7, SHA256: "b", Body: []byte("{}")}
	for _, step := range []struct {
		through int64
		want    string
	}{{7, "7"}, {5, "7"}, {9, "9"}} {
		detail.ComputedThrough = step.through
		body := string(rune('0' + step.through))
		if err := w.db.PublishRankings(t.Context(), []store.RankingRow{ranking(step.through, body)}, []store.DetailRow{detail}); err != nil {
			t.Fatal(err)
		}
		got, err := w.db.Ranking(t.Context(), fieldtest.StcPower, "")
		if err != nil || string(got.Body) != step.want {
			t.Errorf("Ranking() after one through %d = %s, %v, want %s", step.through, got.Body, err, step.want)
		}
		details, err := w.db.PanelDetail(t.Context(), slug)
		if err != nil || len(details) != 1 || details[0].ComputedThrough != got.ComputedThrough {
			t.Errorf("PanelDetail() = %+v, %v, want that of the ranking", details, err)
		}
	}
	_, err := w.db.Ranking(t.Context(), fieldtest.FlatRetention, "")
	refusal(t, err, fieldtest.NotFound)
}

func TestComputedThrough(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	through := func(measure string) int64 {
		t.Helper()
		n, err := w.db.ComputedThrough(t.Context(), measure, "")
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	sequence := w.save(t, w.session(t, 1)) // tilted only
	if got := through(fieldtest.FlatRetention); got != sequence {
		t.Errorf("ComputedThrough(untouched measure) = %d, want the head %d", got, sequence)
	}
	if got := through(fieldtest.StcPower); got != 0 {
		t.Errorf("ComputedThrough(never published) = %d, want 0", got)
	}
	m, err := w.db.LeaseMark(t.Context(), time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.db.PublishRankings(t.Context(), []store.RankingRow{ranking(m.Gen, "{}")}, nil); err != nil {
		t.Fatal(err)
	}
	if err := w.db.FinishMark(t.Context(), *m); err != nil {
		t.Fatal(err)
	}
	if got := through(fieldtest.StcPower); got != sequence {
		t.Errorf("ComputedThrough(published) = %d, want %d", got, sequence)
	}
}

// Watchers wake by the event, not by the poll: that is an hour.
func TestWatchWakes(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx, cancel := context.WithCancel(t.Context())
	events := w.db.Watch(ctx, time.Hour)
	if first := storetest.Await(t, events, "the watcher to begin"); first != (store.Event{}) {
		t.Errorf("first event = %+v, want look for yourself", first)
	}
	sequence := w.save(t, w.session(t, 1))
	if got, want := storetest.Await(t, events, "the event of a write"), (store.Event{Sequence: sequence}); got != want {
		t.Errorf("event after a write = %+v, want %+v", got, want)
	}
	if err := w.db.PublishRankings(t.Context(), []store.RankingRow{ranking(sequence, "{}")}, nil); err != nil {
		t.Fatal(err)
	}
	if got, want := storetest.Await(t, events, "the event of a publication"), (store.Event{Published: true, Sequence: sequence}); got != want {
		t.Errorf("event after a publication = %+v, want %+v", got, want)
	}
	cancel()
	storetest.AwaitEnd(t, events, "the watcher to end")
}
