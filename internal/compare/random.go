package compare

import "evensun/internal/seedrand"

// Purposes keep the streams of one seed apart.
const (
	purposeProbe uint64 = 0x70726f6265000001
	purposeDraw  uint64 = 0x6472617773000002
)

// blockStream returns the stream of one block of one purpose: a new session in
// another block leaves these numbers as they were.
func blockStream(seed, purpose uint64, block int) *seedrand.Stream {
	return seedrand.New(seedrand.New(seed ^ purpose ^ uint64(block)*0xD1B54A32D192ED03).Uint64())
}
