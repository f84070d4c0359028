package httpapi_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"evensun/internal/contract"
	"evensun/internal/fieldtest"
	"evensun/internal/httpapi"
	"evensun/internal/intake"

	"github.com/google/uuid"
)

// fifty is a session of 50 readings, another one for each n.
func (s scene) fifty(n int) string {
	var readings []string
	for i := range 50 {
		readings = append(readings, fmt.Sprintf(`{"label": "A%d", "panel": {"model": "tarn-fold-200"}, "taken_at": "2026-06-14T11:%02d:00-06:00", "voltage_v": 18.1, "current_a": 8.42, "power_w": %d.%06d, "irradiance": {"poa_w_m2": 912, "sensor": "reference_cell"}, "back_temperature_c": 47.5, "warm_up_min": 20}`, i, 6+i, 152, n))
	}
	head := s.session("field-14", fmt.Sprint("field-", n))
	return head[:strings.Index(head, `"readings"`)] + `"readings": [` + strings.Join(readings, ",") + `]}`
}

// BenchmarkSubmit compares a submission of 50 readings over HTTP with what lies below:
// the whole of intake, and checking the body alone.
func BenchmarkSubmit(b *testing.B) {
	s := newScene(b)
	direct := intake.New(s.store, uuid.NewV7, s.clock)
	id := uuid.MustParse(s.tester)
	n := 0
	b.Run("http", func(b *testing.B) {
		for b.Loop() {
			n++
			s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.fifty(n)})
		}
	})
	b.Run("intake", func(b *testing.B) {
		for b.Loop() {
			n++
			var session fieldtest.Session
			if err := json.Unmarshal([]byte(s.fifty(n)), &session); err != nil {
				b.Fatal(err)
			}
			who := fieldtest.Caller{TesterID: id, Role: fieldtest.RoleTester, Trusted: true}
			if _, _, err := direct.Submit(b.Context(), who, session, intake.SubmitOptions{}); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("contract", func(b *testing.B) {
		for b.Loop() {
			n++
			if _, err := contract.Session([]byte(s.fifty(n)), at); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// BenchmarkRead compares reading a published ranking over HTTP with the query alone.
func BenchmarkRead(b *testing.B) {
	s := newScene(b)
	s.publish("stc-power", "", 3)
	b.Run("http", func(b *testing.B) {
		for b.Loop() {
			s.must(200, ask{do: "GET /v1/rankings/stc-power"})
		}
	})
	b.Run("query", func(b *testing.B) {
		for b.Loop() {
			if _, err := s.store.Ranking(b.Context(), "stc-power", ""); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("unchanged", func(b *testing.B) {
		for b.Loop() {
			s.must(304, ask{do: "GET /v1/rankings/stc-power", header: map[string]string{"If-None-Match": `"abababababababab"`}})
		}
	})
	b.Run("livez", func(b *testing.B) {
		for b.Loop() {
			s.server.Handler().ServeHTTP(httptest.NewRecorder(), httptest.NewRequest("GET", "/livez", nil))
		}
	})
}

// incautious is an intake that gives no cautions.
type incautious struct{ httpapi.Intake }

func (incautious) Cautions(context.Context, *fieldtest.StoredSession) ([]fieldtest.Caution, error) {
	return nil, nil
}

// fiveHundred is a session of 500 readings of one kind, which measured says.
func (s scene) fiveHundred(kind, measured string) string {
	var readings []string
	for i := range 500 {
		readings = append(readings, fmt.Sprintf(`{"label": "A%d", "panel": {"model": "tarn-fold-200"}, "taken_at": "2026-06-14T11:%02d:%02d-06:00", "kind": %q, %s,
		 "irradiance": {"poa_w_m2": 912, "sensor": "reference_cell"}, "back_temperature_c": 47.5, "warm_up_min": 20}`, i, 6+i/10, i%10, kind, measured))
	}
	head := s.session("field-14", "field-"+kind)
	return head[:strings.Index(head, `"readings"`)] + `"readings": [` + strings.Join(readings, ",") + `]}`
}

// BenchmarkReadSession reports what reading a session of 500 readings costs in units of
// the same read without its cautions, for which the session is judged anew, timed in turn
// in one run.
func BenchmarkReadSession(b *testing.B) {
	for kind, measured := range map[string]string{
		"operating_point": `"voltage_v": 18.1, "current_a": 8.42, "power_w": 152`,
		"iv_sweep":        `"sweep": {"voltage_v": [0, 4, 8, 12, 15, 17, 18, 19, 20, 21, 22.2], "current_a": [9.65, 9.62, 9.6, 9.55, 9.45, 9.1, 8.6, 7.6, 5.9, 3.4, 0]}`,
	} {
		b.Run(kind, func(b *testing.B) {
			s := newScene(b)
			stored := s.must(201, ask{do: "POST /v1/sessions", key: s.key, body: s.fiveHundred(kind, measured)})
			path := "/v1/sessions/" + stored.json("id").(string)
			plain := newBench(b, func(c *httpapi.Config) { c.Store, c.Intake = s.store, incautious{c.Intake} })
			var with, without time.Duration
			for b.Loop() {
				start := time.Now()
				plain.must(200, ask{do: "GET " + path})
				between := time.Now()
				s.must(200, ask{do: "GET " + path})
				without, with = without+between.Sub(start), with+time.Since(between)
			}
			b.ReportMetric(float64(with)/float64(without), "x-without-cautions")
		})
	}
}
