package ranking

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"maps"
	"math"
	"slices"

	"evensun/internal/fieldtest"
)

// hashOf identifies what a ranking was computed from: method, inputs and parameters.
// Equal hash, equal ranking.
func (f *Fitted) hashOf(in *Inputs, l List, panels map[string]*Panel) string {
	h := sha256.New()
	rules, err := json.Marshal(in.Rules)
	if err != nil { // a struct of numbers always encodes; an empty text then still is a hash
		rules = nil
	}
	writeAll(h, l.Measure+"\x00"+l.Currency+"\x00"+l.Cover, f.Seed, uint64(l.Component))
	writeAll(h, string(rules), uint64(len(f.Rows)))
	for _, slug := range f.Panels {
		p := panels[slug]
		price, _ := PriceIn(p.Prices, l.Currency)
		writeAll(h, slug, bits(p.PmaxW), bits(p.MassKg), bits(p.CellAreaM2), bits(p.PanelAreaM2), math.Float64bits(price))
		switch l.Measure {
		case fieldtest.PowerPerPackedVolume:
			writeAll(h, slug, bits(p.FoldedVolumeL))
		case fieldtest.Hot, fieldtest.WeakLight:
			writeAll(h, slug+"\x00"+string(p.Technology), bits(p.GammaPerK))
		}
	}
	for _, slug := range slices.Sorted(maps.Keys(f.backlog)) {
		b := f.backlog[slug]
		writeAll(h, slug, uint64(b.held), uint64(b.excluded), uint64(b.unusable), uint64(l.MinTesters))
	}
	return hex.EncodeToString(h.Sum(nil))
}

func bits(x *float64) uint64 {
	if x == nil {
		return math.Float64bits(math.NaN())
	}
	return math.Float64bits(*x)
}
