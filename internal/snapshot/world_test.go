package snapshot_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/ledger"
	"evensun/internal/ranking"
	"evensun/internal/seedrand"
	"evensun/internal/snapshot"
)

var monday = time.Date(2026, 11, 23, 6, 0, 0, 0, time.UTC)

func pointer[T any](x T) *T { return &x }

// id is an invented but fixed one.
func id(kind byte, n int) uuid.UUID {
	var u uuid.UUID
	u[0], u[6], u[8] = kind, 0x70, 0x80
	binary.BigEndian.PutUint32(u[12:], uint32(n))
	return u
}

// invented is a small data set without meaning: four panels, four testers, twelve
// sessions of tilted, flat and covered readings with scatter from a fixed seed.
func invented() ranking.Inputs {
	g := seedrand.New(48)
	in := ranking.Inputs{Through: 77, At: monday, Rules: ranking.DefaultRules(), Linked: map[uuid.UUID]uuid.UUID{id('t', 9): id('t', 1)}}
	for p := range 4 {
		in.Panels = append(in.Panels, ranking.Panel{Slug: fmt.Sprintf("tarn-%d", 100+p), Revision: 1, PmaxW: pointer(100 + 20*float64(p)),
			MassKg: pointer(4.5 + float64(p)/3), CellAreaM2: pointer(0.5), PanelAreaM2: pointer(0.6 + float64(p)/100), FoldedVolumeL: pointer(8 + float64(p)),
			Prices: []fieldtest.Price{
				{Amount: "199.00", Currency: "EUR", Date: "2026-05-01", Condition: "new"},
				{Amount: fmt.Sprintf("%d.50", 189+p), Currency: "EUR", Date: "2026-09-01", Condition: "new", Region: "DE"},
				{Amount: "230", Currency: "USD", Date: "2026-05-01", Condition: "new"},
			}})
	}
	for s := range 12 {
		shift := 0.02 * (g.Uniform() - 0.5)
		for p := range 4 {
			for n, a := range []fieldtest.Arrangement{fieldtest.Tilted, fieldtest.Tilted, fieldtest.Flat, fieldtest.Covered} {
				in.Observations = append(in.Observations, observation(s, p, n, a, shift+0.02*(g.Uniform()-0.5)))
			}
		}
	}
	in.Observations[5].State = fieldtest.Held
	in.Observations[9].State = fieldtest.Excluded
	in.Keeps = []ranking.Keep{
		{Level: "tester:panel", TesterID: id('t', 2), Panel: "tarn-101"},
		{Level: "session", SessionID: id('s', 3)},
	}
	return in
}

// flat is the part of the invented data that makes one ranking only, which is quick.
func flat() ranking.Inputs {
	in := invented()
	in.Observations = slices.DeleteFunc(in.Observations, func(o ranking.Observation) bool { return o.Arrangement != fieldtest.Flat })
	return in
}

// frozen is the snapshot of the invented data, made once. Tests do not change it.
var frozen = sync.OnceValues(func() (*snapshot.Snapshot, error) {
	return snapshot.Build(context.Background(), invented(), meta())
})

func whole(t testing.TB) *snapshot.Snapshot {
	t.Helper()
	s, err := frozen()
	if err != nil {
		t.Fatalf("Build() = %v", err)
	}
	return s
}

func observation(s, p, n int, a fieldtest.Arrangement, noise float64) ranking.Observation {
	power := (100 + 20*float64(p)) * math.Exp(-0.1+0.03*float64(p)+noise)
	o := ranking.Observation{
		ReadingID: id('r', 100*s+10*p+n), SessionID: id('s', s), Revision: 1, ContentSHA256: fmt.Sprintf("%064x", s+1), TesterID: id('t', s%4),
		RigID: id('g', s%4), RigRevision: 1, RigKind: fieldtest.MPPTController, Panel: fmt.Sprintf("tarn-%d", 100+p), Specimen: "unit-1",
		Label: fmt.Sprint(4*p + n + 1), TakenAt: monday.Add(time.Duration(100*s+4*p+n) * time.Minute), LatitudeDeg: 47.1, LongitudeDeg: 8.2,
		Arrangement: a, State: fieldtest.Counted,
		Result: &fieldtest.Result{StcPowerW: power, StcPowerUW: 0.04 * power, Coverage: 0.95, Method: "simple_power", IrradianceOrigin: fieldtest.OriginMeasured,
			Parts:        fieldtest.UncertaintyParts{Reading: 0.011 + noise/10, Session: 0.008, Rig: 0.02, Model: 0.006, Common: 0.005},
			EffectiveWM2: 850 + 1000*noise, CellC: 48.3 + 100*noise, Rankable: true},
	}
	switch a {
	case fieldtest.Flat:
		o.Result.Retention = &fieldtest.Retention{Measure: fieldtest.FlatRetention, Value: 0.9 + noise, U: 0.02}
	case fieldtest.Covered:
		o.Result.Retention = &fieldtest.Retention{Measure: fieldtest.ShadeRetention, Value: 0.4 + noise, U: 0.03, CoverClass: "0.25"}
	}
	return o
}

func meta() snapshot.Meta {
	return snapshot.Meta{
		Name: "2026-w48", CreatedAt: monday, LedgerHead: ledger.Head{Sequence: 77, At: monday.Add(-time.Hour), Hash: fmt.Sprintf("%064x", 77)},
		Methods: snapshot.Methods{Normalise: "2026.1", Contract: "1.0.0"}, Program: snapshot.Program{GOARCH: "any", Go: "go1.26", Module: "v0", Revision: "abc"},
		Contributors: []string{"Zoe & Co", "Field \"Hand\"", "Zoe & Co"}, Readings: []byte("{\"id\":1}\n"),
	}
}

func build(t testing.TB, in ranking.Inputs) *snapshot.Snapshot {
	t.Helper()
	s, err := snapshot.Build(t.Context(), in, meta())
	if err != nil {
		t.Fatalf("Build() = %v", err)
	}
	return s
}
