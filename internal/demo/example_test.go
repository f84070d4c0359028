package demo_test

import (
	"fmt"
	"time"

	"evensun/internal/demo"
)

func ExampleNewWeekend() {
	w := demo.NewWeekend(1, time.Date(2026, 6, 15, 0, 0, 0, 0, time.UTC))
	readings, mistakes := 0, 0
	for _, s := range w.Sessions {
		readings += len(s.Session.Readings)
		if s.Mistake != "" {
			mistakes++
		}
	}
	fmt.Println(len(w.PanelModels), "panel models,", len(w.Testers), "testers,", len(w.Rigs), "rigs")
	fmt.Println(len(w.Sessions), "sessions with", readings, "readings,", mistakes, "with a mistake,", len(w.Refused), "refused")
	fmt.Println("truth of tarn-fold-200:", w.Truth["tarn-fold-200"])
	// Output:
	// 12 panel models, 7 testers, 9 rigs
	// 36 sessions with 289 readings, 10 with a mistake, 5 refused
	// truth of tarn-fold-200: 0.945
}
