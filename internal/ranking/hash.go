package ranking

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"math"

	"evensun/internal/fieldtest"
)

// hashOf identifies what a ranking was computed from: method, inputs and parameters.
// Equal hash, equal ranking.
func hashOf(in *Inputs, d *Dataset, l List, panels map[string]*Panel) string {
	h := sha256.New()
	rules, err := json.Marshal(in.Rules)
	if err != nil { // a struct of numbers always encodes; an empty text then still is a hash
		rules = nil
	}
	writeAll(h, l.Measure+"\x00"+l.Currency+"\x00"+l.Cover, d.Seed, uint64(l.Component))
	writeAll(h, string(rules), uint64(len(d.Rows)))
	for _, slug := range d.Panels {
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
	return hex.EncodeToString(h.Sum(nil))
}

func bits(x *float64) uint64 {
	if x == nil {
		return math.Float64bits(math.NaN())
	}
	return math.Float64bits(*x)
}
