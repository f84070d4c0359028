package intake_test

import (
	"bytes"
	"context"
	stdjson "encoding/json"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/contract"
	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/ledger"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

// connect opens a connection beside the store's.
func (d *desk) connect(t testing.TB) *pgx.Conn {
	t.Helper()
	return storetest.Connect(t, d.url)
}

// tables returns the content of all tables as text, by name; bytes as the text they are.
func (d *desk) tables(t testing.TB) map[string][]string {
	t.Helper()
	conn := d.connect(t)
	rows, err := conn.Query(t.Context(), `SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY 1`)
	if err != nil {
		t.Fatal(err)
	}
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil || len(names) < 20 {
		t.Fatalf("tables %v, %v", names, err)
	}
	all := map[string][]string{}
	for _, name := range names {
		from := pgx.Identifier{name}.Sanitize()
		sql := "SELECT to_jsonb(t)::text FROM " + from + " AS t ORDER BY 1"
		if name == "session" {
			sql = "SELECT (to_jsonb(t) - 'raw')::text || convert_from(t.raw, 'UTF8') FROM session AS t ORDER BY 1"
		}
		rows, err := conn.Query(t.Context(), sql)
		if err != nil {
			t.Fatal(err)
		}
		if all[name], err = pgx.CollectRows(rows, pgx.RowTo[string]); err != nil {
			t.Fatal(err)
		}
	}
	return all
}

// ledgerSince returns the ledger's rows after a sequence.
func (d *desk) ledgerSince(t testing.TB, after int64) []ledger.Entry {
	t.Helper()
	entries, err := d.db.Ledger(t.Context(), after, 100)
	if err != nil {
		t.Fatal(err)
	}
	return entries
}

func (d *desk) head(t testing.TB) ledger.Head {
	t.Helper()
	head, err := d.db.LedgerHead(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return head
}

// withNewModel makes a session's readings those of a model that the session describes.
func withNewModel(t testing.TB, n int, slug string) fieldtest.Session {
	t.Helper()
	s := session(t, n)
	p := plate(200)
	for i := range s.Readings {
		s.Readings[i].Panel = fieldtest.PanelRef{Model: slug, Specimen: "mine", Maker: "Halden", ModelName: "Loft", Nameplate: &p}
	}
	return s
}

// conforms holds an answer against a schema of the description.
func conforms(t testing.TB, schema string, body []byte) {
	t.Helper()
	var value any
	if err := stdjson.Unmarshal(body, &value); err != nil {
		t.Fatalf("%s: %v", body, err)
	}
	own, err := contract.Own()
	if err != nil {
		t.Fatal(err)
	}
	if err := own.Document().Components.Schemas[schema].Value.VisitJSON(value); err != nil {
		t.Errorf("answer is no %s: %v\n%s", schema, err, body)
	}
}

// A session that brings its rig and panel model along is stored with both, with what was
// made of it, in one transaction, and the ledger says so.
func TestASessionWithItsRigAndModelIsStoredWhole(t *testing.T) {
	t.Parallel()
	d := newDesk(t, false) // untrusted: there is a finding to store
	before := d.head(t)
	response, replayed, err := d.in.Submit(t.Context(), d.tester, withNewModel(t, 0, "halden-loft"), intake.SubmitOptions{})
	if err != nil || replayed || response.Status != 201 {
		t.Fatalf("status %d, replayed %v, %v", response.Status, replayed, err)
	}
	conforms(t, "Receipt", response.Body)
	r := receiptOf(t, response)
	var kinds []string
	for _, e := range d.ledgerSince(t, before.Sequence) {
		kinds = append(kinds, e.Kind)
	}
	for _, kind := range []string{"rig_created", "panel_model_created", "session_accepted"} {
		if !slices.Contains(kinds, kind) {
			t.Errorf("the ledger has new rows %v, none of %s", kinds, kind)
		}
	}
	if *r.Sequence != d.head(t).Sequence || response.Header["Location"] != "/v1/sessions/"+r.ID.String() || response.Header["ETag"] != `"r1"` {
		t.Errorf("sequence %d of head %d, header %v", *r.Sequence, d.head(t).Sequence, response.Header)
	}
	conn := d.connect(t)
	var transactions int
	err = conn.QueryRow(t.Context(), `SELECT count(DISTINCT x) FROM (
		SELECT xmin::text AS x FROM session UNION ALL SELECT xmin::text FROM reading UNION ALL SELECT xmin::text FROM reading_result
		UNION ALL SELECT xmin::text FROM finding UNION ALL SELECT xmin::text FROM rig
		UNION ALL SELECT xmin::text FROM panel_model WHERE slug = 'halden-loft'
		UNION ALL SELECT xmin::text FROM ledger WHERE sequence > $1) AS rows`, before.Sequence).Scan(&transactions)
	if err != nil || transactions != 1 {
		t.Errorf("the rows are of %d transactions (%v), want one", transactions, err)
	}
	holdsStored(t, d, r)
}

// holdsStored compares a receipt with what is stored.
func holdsStored(t *testing.T, d *desk, r fieldtest.Receipt) {
	t.Helper()
	kept, err := d.db.Session(t.Context(), *r.ID)
	if err != nil {
		t.Fatal(err)
	}
	rig, err := d.db.Rig(t.Context(), kept.RigID)
	if err != nil || rig.TesterID != d.tester.TesterID || rig.Kind != "mppt_controller" {
		t.Errorf("rig %+v, %v", rig, err)
	}
	model, err := d.db.PanelModel(t.Context(), "halden-loft")
	if err != nil || model.Maker != "Halden" || *model.Nameplate.PmaxW != 200 || model.CreatedBy != d.tester.TesterID {
		t.Errorf("model %+v, %v", model, err)
	}
	if len(kept.Readings) != 3 || len(kept.Findings) != 1 || kept.SHA256 != r.SHA256 || kept.Sequence != *r.Sequence {
		t.Fatalf("%d readings, %d findings, hash %s of %s", len(kept.Readings), len(kept.Findings), kept.SHA256, r.SHA256)
	}
	for i := range kept.Readings {
		got, want := kept.Readings[i], r.Readings[i]
		if *got.ID != *want.ID || got.State != want.State || got.Specimen != "mine" || *got.PanelModel != "halden-loft" {
			t.Errorf("reading %d is stored as %+v", i, got)
		}
		if diff := cmp.Diff(want.Result, got.Result); diff != "" || got.Result == nil {
			t.Errorf("result %d (-receipt +stored):\n%s", i, diff)
		}
	}
}

// The finer place is gone on arrival: no table holds it, nor does the kept answer.
func TestNoFinerPlaceIsStored(t *testing.T) {
	t.Parallel()
	fine := regexp.MustCompile(`38\.51234|106\.04321|2154\.4`)
	for step, want := range map[float64][3]float64{0.1: {38.5, -106, 2150}, 0.01: {38.51, -106.04, 2150}} {
		d := newDesk(t, true)
		s := session(t, 0)
		altitudeM := 2154.4
		s.Site.LatitudeDeg, s.Site.LongitudeDeg, s.Site.AltitudeM = 38.51234, -106.04321, &altitudeM
		if step != 0.1 { // the default
			s.Site.PlaceRoundingDeg = &step
		}
		raw, err := json.Marshal(s)
		if err != nil || !fine.Match(raw) {
			t.Fatalf("the submission holds no fine place: %v", err)
		}
		idem := store.Idempotency{TesterID: d.tester.TesterID, Key: "one", Fingerprint: [32]byte{1}}
		response, _, err := d.in.Submit(t.Context(), d.tester, s, intake.SubmitOptions{Idempotency: idem})
		if err != nil {
			t.Fatal(err)
		}
		for name, rows := range d.tables(t) {
			for _, row := range rows {
				if fine.MatchString(row) {
					t.Errorf("rounding %g: table %s holds the fine place: %.600s", step, name, row)
				}
			}
		}
		if fine.Match(response.Body) || bytes.Contains(response.Body, raw) {
			t.Errorf("rounding %g: the answer holds the fine place", step)
		}
		kept, err := d.db.Session(t.Context(), *receiptOf(t, response).ID)
		site := kept.Session.Site
		if err != nil || [3]float64{site.LatitudeDeg, site.LongitudeDeg, *site.AltitudeM} != want {
			t.Errorf("rounding %g: stored at %v %v, want %v (%v)", step, site.LatitudeDeg, site.LongitudeDeg, want, err)
		}
	}
}

// A refused submission and one whose context ends leave every table as it was.
func TestWhatIsNotAcceptedLeavesNoTrace(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	d.submit(t, session(t, 0))
	before := d.tables(t)
	impossible, unknown := withNewModel(t, 1, "halden-loft"), session(t, 2)
	highV := 90.0
	impossible.Readings[1].VoltageV = &highV
	unknown.Readings[1].Panel.Model = "never-heard-of"
	if _, _, err := d.in.Submit(t.Context(), d.tester, impossible, intake.SubmitOptions{}); kindOf(err) != fieldtest.PhysicallyImpossible {
		t.Errorf("impossible: %v", err)
	}
	if _, _, err := d.in.Submit(t.Context(), d.tester, unknown, intake.SubmitOptions{}); kindOf(err) != fieldtest.ValidationFailed {
		t.Errorf("unknown model: %v", err)
	}
	if _, _, err := d.in.Submit(t.Context(), d.tester, session(t, 3), intake.SubmitOptions{DryRun: true}); err != nil {
		t.Errorf("dry run: %v", err)
	}
	if diff := cmp.Diff(before, d.tables(t)); diff != "" {
		t.Errorf("the tables changed (-before +after):\n%s", diff)
	}
}

// A context that ends at any id drawn on the way, those inside of the transaction
// included, stores nothing.
func TestASubmissionThatIsCancelledStoresNothing(t *testing.T) {
	t.Parallel()
	d := newDesk(t, false)
	before := d.tables(t)
	for at := 1; ; at++ {
		ctx, cancel := context.WithCancel(t.Context())
		calls := 0
		in := intake.New(d.db, func() (uuid.UUID, error) {
			if calls++; calls == at {
				cancel()
			}
			return uuid.NewV7()
		}, clock)
		_, _, err := in.Submit(ctx, d.tester, withNewModel(t, 0, "halden-loft"), intake.SubmitOptions{})
		cancel()
		if err == nil {
			if calls >= at {
				t.Errorf("cancelled at id %d of %d, yet stored", at, calls)
			}
			if at < 6 {
				t.Errorf("only %d ids are drawn", calls)
			}
			return
		}
		if diff := cmp.Diff(before, d.tables(t)); diff != "" {
			t.Fatalf("cancelled at id %d (%v), the tables changed (-before +after):\n%s", at, err, diff)
		}
	}
}

func TestAContestedRefusalIsStoredHeld(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	s := session(t, 0)
	highV := 31.0 // the panel's Voc is 24.2 V
	s.Readings[0].VoltageV = &highV
	_, _, err := d.in.Submit(t.Context(), d.tester, s, intake.SubmitOptions{})
	refusal, ok := asRefusal(err)
	if !ok || refusal.Kind != fieldtest.PhysicallyImpossible {
		t.Fatalf("not contested: %v", err)
	}
	for _, f := range refusal.Faults {
		s.Readings[0].Contest = append(s.Readings[0].Contest, fieldtest.Contest{Rule: f.Code, Reason: "read twice, second meter agrees"})
	}
	r := d.submit(t, s)
	if r.Readings[0].State != fieldtest.Held || r.Readings[1].State != fieldtest.Counted {
		t.Errorf("states %s, %s; want held, counted", r.Readings[0].State, r.Readings[1].State)
	}
	kept, err := d.db.Session(t.Context(), *r.ID)
	if err != nil {
		t.Fatal(err)
	}
	contested := 0
	for _, f := range kept.Readings[0].Findings {
		if f.Severity == fieldtest.Reject {
			t.Errorf("%s is stored as reject", f.Rule)
		}
		if f.Basis["contested_because"] == "read twice, second meter agrees" && f.Severity == fieldtest.Hold {
			contested++
		}
	}
	if contested != len(refusal.Faults) || kept.Readings[0].State != fieldtest.Held {
		t.Errorf("%d contested holds stored, %d faults were contested; reading %s", contested, len(refusal.Faults), kept.Readings[0].State)
	}
	// Contesting one reading does not cover another.
	s = session(t, 1)
	s.Readings[1].VoltageV = &highV
	s.Readings[0].Contest = []fieldtest.Contest{{Rule: refusal.Faults[0].Code, Reason: "wrong reading"}}
	if _, _, err := d.in.Submit(t.Context(), d.tester, s, intake.SubmitOptions{}); kindOf(err) != fieldtest.PhysicallyImpossible {
		t.Errorf("contested at another reading: %v", err)
	}
}

func TestAClientRefStandsForOneContent(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	s := session(t, 0)
	s.ClientRef = "ridge-1"
	first := d.submit(t, s)
	if again := d.submit(t, s); *again.ID != *first.ID {
		t.Errorf("the same again is session %s, want %s", again.ID, first.ID)
	}
	other := session(t, 1)
	other.ClientRef = "ridge-1"
	_, _, err := d.in.Submit(t.Context(), d.tester, other, intake.SubmitOptions{})
	if refusal, ok := asRefusal(err); !ok || refusal.Kind != fieldtest.NameTaken || fmt.Sprint(refusal.Extra["existing"]) != first.ID.String() {
		t.Errorf("other content under the same client_ref: %v", err)
	}
	other.ClientRef = "ridge-2"
	if second := d.submit(t, other); *second.ID == *first.ID {
		t.Error("other content under another client_ref is the first session")
	}
	if n := len(d.sessions(t)); n != 2 {
		t.Errorf("%d sessions stored, want 2", n)
	}
}

// The derivation of a stored reading is that of the dry run, digit by digit.
func TestAStoredDerivationIsThatOfTheDryRun(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	response, _, err := d.in.Submit(t.Context(), fieldtest.Caller{}, session(t, 0), intake.SubmitOptions{DryRun: true, Derivation: true})
	if err != nil {
		t.Fatal(err)
	}
	dry, stored := receiptOf(t, response), d.submit(t, session(t, 0))
	for i := range stored.Readings {
		steps, err := d.in.Derivation(t.Context(), *stored.Readings[i].ID)
		if err != nil || len(steps) < 5 {
			t.Fatalf("%d steps, %v", len(steps), err)
		}
		raw, err := json.Marshal(steps)
		if err != nil {
			t.Fatal(err)
		}
		var got []fieldtest.Step // as it arrives, like the dry run's
		if err := json.Unmarshal(raw, &got); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(dry.Readings[i].Derivation, got); diff != "" {
			t.Errorf("reading %d (-dry run +stored):\n%s", i, diff)
		}
	}
}

// A rating read again moves every share by the inverse of the rating, and the old
// nameplate stays readable.
func TestANewNameplateJudgesAllReadingsAnew(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	r := d.submit(t, session(t, 0))
	before := d.head(t)
	m := d.model
	m.Nameplate = plate(210)
	m.Nameplate.IscA, m.Nameplate.ImpA = d.model.Nameplate.IscA, d.model.Nameplate.ImpA // only the rating
	response, _, err := d.in.UpdatePanelModel(t.Context(), d.reviewer, slug, 1, "label read again", m, intake.SubmitOptions{})
	if err != nil || response.Status != 200 || response.Header["ETag"] != `"r2"` {
		t.Fatalf("status %d, header %v, %v", response.Status, response.Header, err)
	}
	kept, err := d.db.Session(t.Context(), *r.ID)
	if err != nil {
		t.Fatal(err)
	}
	for i := range kept.Readings {
		got, was := kept.Readings[i].Result, r.Readings[i].Result
		share := got.StcPowerW / 210
		if math.Abs(*got.ShareOfRating/share-1) > 1e-5 || *got.ShareOfRating >= *was.ShareOfRating {
			t.Errorf("reading %d: share %g of %g W, was %g; want %g", i, *got.ShareOfRating, got.StcPowerW, *was.ShareOfRating, share)
		}
	}
	for revision, want := range map[int]float64{1: 200, 2: 210} {
		if old, err := d.db.PanelModelRevision(t.Context(), slug, revision); err != nil || *old.Nameplate.PmaxW != want {
			t.Errorf("revision %d: %+v, %v, want %g W", revision, old.Nameplate.PmaxW, err, want)
		}
	}
	if len(d.ledgerSince(t, before.Sequence)) == 0 {
		t.Error("the ledger does not tell of the new nameplate")
	}
	if _, _, err := d.in.UpdatePanelModel(t.Context(), d.reviewer, slug, 1, "stale", d.model, intake.SubmitOptions{}); kindOf(err) != fieldtest.PreconditionFailed {
		t.Errorf("a change of revision 1 after revision 2: %v", err)
	}
	if _, _, err := d.in.UpdatePanelModel(t.Context(), d.tester, slug, 2, "not mine", d.model, intake.SubmitOptions{}); kindOf(err) != fieldtest.Forbidden {
		t.Errorf("a change by a tester who did not create it: %v", err)
	}
}

// An inline rig is judged like one that is created on its own: 500 m of cable are 500 cm.
func TestAnInlineRigIsJudged(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	lengthM := 500.0
	s := session(t, 0)
	s.Rig.Cable.LengthM = &lengthM
	response, _, err := d.in.CreateRig(t.Context(), d.tester, s.Rig.Rig, intake.SubmitOptions{DryRun: true})
	if err != nil {
		t.Fatal(err)
	}
	var alone struct {
		Findings []fieldtest.Finding `json:"findings"`
	}
	if err := json.Unmarshal(response.Body, &alone); err != nil || len(alone.Findings) != 1 {
		t.Fatalf("created alone: %d findings, %v", len(alone.Findings), err)
	}
	want := alone.Findings[0]
	r := d.submit(t, s)
	if len(r.Findings) != 1 {
		t.Fatalf("inline: findings %+v, want one", r.Findings)
	}
	got := r.Findings[0]
	if got.Rule != want.Rule || got.Severity != want.Severity || *got.Value != *want.Value || got.Pointer != "#/rig/cable/length_m" || want.Pointer != "#/cable/length_m" {
		t.Errorf("inline: %s %s at %s, alone: %s %s at %s", got.Severity, got.Rule, got.Pointer, want.Severity, want.Rule, want.Pointer)
	}
}

func asRefusal(err error) (*fieldtest.Refusal, bool) { return errors.AsType[*fieldtest.Refusal](err) }

// A submission is kept whole: every member and value of what was sent, but for the place.
// How numbers were spelt, in which order members stood and nulls are not kept.
func TestASubmissionIsKeptWholeButForThePlace(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	sent := []byte(`{"readings": [
	  {"label": "A1", "panel": {"model": "tarn-fold-200", "specimen": "unit-7"}, "taken_at": "2026-06-14T11:22:00.123456789-06:00", "kind": "operating_point", "arrangement": "tilted",
	   "voltage_v": 18.10, "current_a": 842e-2, "power_w": 152.4000000000000057, "power_read_at": "panel_side", "warm_up_min": null, "note": "zwölf <&> \u00fcber",
	   "irradiance": {"poa_w_m2": 9.12E2, "rear_w_m2": 0, "sensor": "reference_cell", "calibrated": false, "iso_9060_class": "A"},
	   "back_temperature_c": 47.5, "back_temperature_sensor": "thermocouple", "weather": {"wind_speed_m_s": 0.1}, "plane": {"tilt_deg": 0, "azimuth_deg": 180, "azimuth_reference": "magnetic"},
	   "contest": [{"rule": "current_above_isc", "reason": "read twice"}]},
	  {"panel": {"model": "tarn-fold-200", "specimen": "unit-7"}, "arrangement": "covered", "taken_at": "2026-06-14T11:23:00-06:00", "voltage_v": 18.1, "current_a": 4.1,
	   "irradiance": {"poa_w_m2": 912}, "cover": {"sections_covered": 2, "sections_total": 4, "transmission": 0.0, "reference_label": "A1"}}],
	 "started_at": "2026-06-14T11:05:00-06:00", "ended_at": "2026-06-14T12:10:00-06:00", "client_ref": "field-14", "note": "north lawn",
	 "site": {"latitude_deg": 38.51234, "longitude_deg": -106.04321, "altitude_m": 2154.4, "ground": "dry_grass", "ground_albedo": 0.25, "place_rounding_deg": 0.1},
	 "sky": {"condition": "haze", "linke_turbidity": 4.25}, "weather": {"air_temperature_c": 24.0, "relative_humidity_percent": 35}, "plane": {"tilt_deg": 35, "azimuth_deg": 180},
	 "rig": {"name": "bench", "kind": "mppt_controller", "power_read_at": "panel_side", "instrument": "inline_meter", "accuracy": {"voltage_percent": 1.50}}}`)
	s, err := contract.Session(sent, now)
	if err != nil {
		t.Fatal(err)
	}
	d.submit(t, s)
	var kept []byte
	if err := d.connect(t).QueryRow(t.Context(), "SELECT raw FROM session").Scan(&kept); err != nil {
		t.Fatal(err)
	}
	var got, want map[string]any
	if err := errors.Join(stdjson.Unmarshal(kept, &got), stdjson.Unmarshal(sent, &want)); err != nil {
		t.Fatal(err)
	}
	site := want["site"].(map[string]any)
	site["latitude_deg"], site["longitude_deg"], site["altitude_m"] = 38.5, -106.0, 2150.0
	if diff := cmp.Diff(withoutNulls(want), withoutNulls(got)); diff != "" {
		t.Errorf("submission (-sent, place rounded +kept):\n%s", diff)
	}
}

// withoutNulls leaves out what means the same as if it were absent.
func withoutNulls(value any) any {
	switch value := value.(type) {
	case map[string]any:
		for name, member := range value {
			if member == nil {
				delete(value, name)
				continue
			}
			value[name] = withoutNulls(member)
			if inside, ok := value[name].(map[string]any); ok && len(inside) == 0 {
				delete(value, name)
			}
		}
	case []any:
		for i := range value {
			value[i] = withoutNulls(value[i])
		}
	}
	return value
}
