package compare

// Cutoffs are the corners of Hampel's three-part weight.
type Cutoffs struct{ A, B, C float64 }

// An Effect names one effect whose weight a verdict has fixed at 1.
type Effect struct {
	Term                   Term
	Tester, Panel, Session int32 // codes; those the term does not use are ignored
}
