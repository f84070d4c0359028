package ranking_test

import (
	"fmt"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

func ExamplePriceIn() {
	prices := []fieldtest.Price{
		{Amount: "249.00", Currency: "USD", Date: "2026-01-10", Condition: "new"},
		{Amount: "219.00", Currency: "USD", Date: "2026-05-02", Condition: "new"},
		{Amount: "120.00", Currency: "USD", Date: "2026-06-01", Condition: "used"},
	}
	fmt.Println(ranking.PriceIn(prices, "USD"))
	// Output: 219 true
}
