package snapshot

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

// A head is the first line of inputs.jsonl.
type head struct {
	Through int64         `json:"computed_through"`
	At      time.Time     `json:"computed_at"`
	Rules   ranking.Rules `json:"rules"`
}

// A readingLine is a ranking.Observation with names for JSON. The two are converted
// into each other, so a member added there cannot be forgotten here.
type readingLine struct {
	ReadingID     uuid.UUID              `json:"reading_id"`
	SessionID     uuid.UUID              `json:"session_id"`
	Revision      int                    `json:"session_revision"`
	ContentSHA256 string                 `json:"content_sha256"`
	TesterID      uuid.UUID              `json:"tester_id"`
	RigID         uuid.UUID              `json:"rig_id"`
	RigRevision   int                    `json:"rig_revision"`
	RigKind       fieldtest.RigKind      `json:"rig_kind"`
	Panel         string                 `json:"panel_model"`
	Specimen      string                 `json:"specimen"`
	Label         string                 `json:"label"`
	TakenAt       time.Time              `json:"taken_at"`
	LatitudeDeg   float64                `json:"latitude_deg"`
	LongitudeDeg  float64                `json:"longitude_deg"`
	Arrangement   fieldtest.Arrangement  `json:"arrangement"`
	Kind          fieldtest.Kind         `json:"kind"`
	State         fieldtest.ReadingState `json:"state"`
	Result        *fieldtest.Result      `json:"result"`
}

// A panelLine is a ranking.Panel with names for JSON.
type panelLine struct {
	Slug          string               `json:"slug"`
	Revision      int                  `json:"revision"`
	PmaxW         *float64             `json:"pmax_w"`
	MassKg        *float64             `json:"mass_kg"`
	CellAreaM2    *float64             `json:"cell_area_m2"`
	PanelAreaM2   *float64             `json:"panel_area_m2"`
	FoldedVolumeL *float64             `json:"folded_volume_l"`
	GammaPerK     *float64             `json:"gamma_pmax_per_k"`
	Technology    fieldtest.Technology `json:"technology"`
	Prices        []fieldtest.Price    `json:"prices"`
}

// A keepLine is a ranking.Keep with names for JSON.
type keepLine struct {
	Level     string    `json:"level"`
	TesterID  uuid.UUID `json:"tester_id"`
	SessionID uuid.UUID `json:"session_id"`
	Panel     string    `json:"panel_model"`
	Dataset   string    `json:"dataset,omitempty"`
}

// A linkLine says that two testers count as one.
type linkLine struct {
	TesterID uuid.UUID `json:"tester_id"`
	CountsAs uuid.UUID `json:"counts_as"`
}

// A line is one of inputs.jsonl; exactly one member is set.
type line struct {
	Head    *head        `json:"head,omitempty"`
	Panel   *panelLine   `json:"panel,omitempty"`
	Keep    *keepLine    `json:"keep,omitempty"`
	Link    *linkLine    `json:"link,omitempty"`
	Reading *readingLine `json:"reading,omitempty"`
}

// inputs has the members of ranking.Inputs; the conversion fails to compile when that
// gets another one, which then needs a place in the file.
type inputs struct {
	Observations []ranking.Observation
	Panels       []ranking.Panel
	Keeps        []ranking.Keep
	Linked       map[uuid.UUID]uuid.UUID
	Through      int64
	At           time.Time
	Rules        ranking.Rules
}

// Canonical returns a copy of inputs in one fixed order, with computed numbers rounded
// and times in UTC: equal sets give equal values, however they were read.
func Canonical(in ranking.Inputs) ranking.Inputs {
	in.At = in.At.UTC().Truncate(time.Microsecond)
	in.Observations = slices.Clone(in.Observations)
	for i := range in.Observations {
		o := &in.Observations[i]
		o.TakenAt, o.Result = o.TakenAt.UTC(), roundedResult(o.Result)
	}
	slices.SortFunc(in.Observations, compareObservations)
	in.Panels = slices.Clone(in.Panels)
	for i := range in.Panels {
		in.Panels[i].Prices = slices.Clone(in.Panels[i].Prices)
		slices.SortFunc(in.Panels[i].Prices, comparePrices)
	}
	slices.SortFunc(in.Panels, func(a, b ranking.Panel) int { return strings.Compare(a.Slug, b.Slug) })
	in.Keeps = slices.Clone(in.Keeps)
	slices.SortFunc(in.Keeps, compareKeeps)
	return in
}

func compareObservations(a, b ranking.Observation) int {
	return cmp.Or(bytes.Compare(a.TesterID[:], b.TesterID[:]), bytes.Compare(a.SessionID[:], b.SessionID[:]),
		strings.Compare(a.Panel, b.Panel), bytes.Compare(a.ReadingID[:], b.ReadingID[:]))
}

func comparePrices(a, b fieldtest.Price) int {
	return cmp.Or(strings.Compare(a.Date, b.Date), strings.Compare(a.Currency, b.Currency), strings.Compare(a.Amount, b.Amount),
		strings.Compare(a.Condition, b.Condition), strings.Compare(a.Region, b.Region))
}

func compareKeeps(a, b ranking.Keep) int {
	return cmp.Or(strings.Compare(a.Level, b.Level), bytes.Compare(a.TesterID[:], b.TesterID[:]),
		bytes.Compare(a.SessionID[:], b.SessionID[:]), strings.Compare(a.Panel, b.Panel))
}

// encodeInputs writes canonical inputs as JSON Lines, exact to the last bit.
func encodeInputs(in ranking.Inputs) ([]byte, error) {
	var b bytes.Buffer
	lines := json.NewEncoder(&b)
	if err := lines.Encode(line{Head: &head{in.Through, in.At, in.Rules}}); err != nil {
		return nil, fmt.Errorf("inputs: %w", err)
	}
	for i := range in.Panels {
		p := panelLine(in.Panels[i])
		if err := lines.Encode(line{Panel: &p}); err != nil {
			return nil, fmt.Errorf("panel model %s: %w", p.Slug, err)
		}
	}
	for i := range in.Keeps {
		k := keepLine(in.Keeps[i])
		if err := lines.Encode(line{Keep: &k}); err != nil {
			return nil, fmt.Errorf("kept effect: %w", err)
		}
	}
	for _, l := range links(in.Linked) {
		if err := lines.Encode(line{Link: &l}); err != nil {
			return nil, fmt.Errorf("linked testers: %w", err)
		}
	}
	for i := range in.Observations {
		r := readingLine(in.Observations[i])
		if err := lines.Encode(line{Reading: &r}); err != nil {
			return nil, fmt.Errorf("reading %s: %w", r.ReadingID, err)
		}
	}
	return b.Bytes(), nil
}

func links(linked map[uuid.UUID]uuid.UUID) []linkLine {
	var list []linkLine
	for tester, other := range linked {
		list = append(list, linkLine{tester, other})
	}
	slices.SortFunc(list, func(a, b linkLine) int { return bytes.Compare(a.TesterID[:], b.TesterID[:]) })
	return list
}

// DecodeInputs reads the file inputs.jsonl of a snapshot.
func DecodeInputs(raw []byte) (ranking.Inputs, error) {
	var in inputs
	lines := json.NewDecoder(bytes.NewReader(raw))
	lines.DisallowUnknownFields()
	heads := 0
	for n := 1; ; n++ {
		var l line
		err := lines.Decode(&l)
		if err == io.EOF {
			break
		}
		if err != nil {
			return ranking.Inputs{}, fmt.Errorf("inputs, line %d: %w", n, err)
		}
		if l.Head != nil {
			heads++
		}
		in.add(l)
	}
	if heads != 1 {
		return ranking.Inputs{}, fmt.Errorf("inputs: %d lines with a head, want 1", heads)
	}
	return ranking.Inputs(in), nil
}

func (in *inputs) add(l line) {
	switch {
	case l.Head != nil:
		in.Through, in.At, in.Rules = l.Head.Through, l.Head.At, l.Head.Rules
	case l.Panel != nil:
		in.Panels = append(in.Panels, ranking.Panel(*l.Panel))
	case l.Keep != nil:
		in.Keeps = append(in.Keeps, ranking.Keep(*l.Keep))
	case l.Link != nil:
		if in.Linked == nil {
			in.Linked = map[uuid.UUID]uuid.UUID{}
		}
		in.Linked[l.Link.TesterID] = l.Link.CountsAs
	case l.Reading != nil:
		in.Observations = append(in.Observations, ranking.Observation(*l.Reading))
	}
}
