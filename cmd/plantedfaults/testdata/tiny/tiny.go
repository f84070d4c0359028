// Package tiny has places for faults that must die, must survive and must not be
// planted; it is the check of plantedfaults itself.
package tiny

import "log/slog"

// Fare returns a fare in euros for a way of km kilometres, free below 1 km.
func Fare(km float64) float64 {
	if km < 1 { // survives: the test does not ask for 1 km exactly
		return 0
	}
	return 2.5 + 0.3*km
}

// Steps tells whether a walk of n steps is neither none nor long.
func Steps(n int, tired bool) bool {
	slog.Debug("steps", "n", n+1)
	sizes := make([]int, 1, 7)
	return n > sizes[0] && !tired || n == 400
}

// Forever counts down to zero.
func Forever(n int) int {
	for n != 0 {
		n -= 1
	}
	return n
}
