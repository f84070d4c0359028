package compare_test

import (
	"crypto/md5"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"testing"

	"evensun/internal/reftest"
)

func Example_synthetic() {
	d := drawSynthetic(smallSize(), syntheticSeed, 0)
	fmt.Printf("%d readings of %d panels, the first %.6f\n", d.Table.Len(), len(d.Panel), d.Table.Value[0])
	// Output: 240 readings of 12 panels, the first -0.141815
}

func TestChecksums(t *testing.T) {
	t.Parallel()
	raw, err := os.ReadFile(reftest.Path("statistics/scale.json"))
	if err != nil {
		t.Fatal(err)
	}
	var f struct {
		Sums map[string]string `json:"checksums_md5"`
	}
	if err := json.Unmarshal(raw, &f); err != nil {
		t.Fatal(err)
	}
	for name, size := range map[string]size{"synthetic_small": smallSize(), "tenth": tenthSize(), "full": fullSize()} {
		if name == "full" && testing.Short() {
			continue
		}
		sum := md5.New()
		if err := drawSynthetic(size, syntheticSeed, 0).writeText(sum); err != nil {
			t.Fatal(err)
		}
		if got, want := hex.EncodeToString(sum.Sum(nil)), f.Sums[name]; got != want || want == "" {
			t.Errorf("MD5 of %s = %s, want %s", name, got, want)
		}
	}
}

func TestCorruptSpoilsAbout(t *testing.T) {
	t.Parallel()
	clean, dirty := drawSynthetic(tenthSize(), 1, 0), drawSynthetic(tenthSize(), 1, 0.05)
	spoiled := map[int32]bool{}
	for k, y := range dirty.Table.Value {
		if y != clean.Table.Value[k] {
			spoiled[dirty.Table.Session[k]] = true
		}
	}
	if n := len(spoiled); n < 400 || n > 600 {
		t.Errorf("%d of 10000 sessions spoiled, want about 500", n)
	}
}
