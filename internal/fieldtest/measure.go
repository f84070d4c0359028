package fieldtest

import "slices"

// A Measure is what panels are ranked by.
type Measure struct {
	Name        string      `json:"measure"`
	Unit        string      `json:"unit"` // UCUM
	Arrangement Arrangement `json:"arrangement"`
	Title       string      `json:"title"`
	Definition  string      `json:"definition"`
}

// The names of the measures.
const (
	StcPower             = "stc-power"
	ShareOfRating        = "share-of-rating"
	PowerPerPrice        = "power-per-price"
	PowerPerMass         = "power-per-mass"
	PowerPerCellArea     = "power-per-cell-area"
	PowerPerPanelArea    = "power-per-panel-area"
	PowerPerPackedVolume = "power-per-packed-volume"
	Hot                  = "hot"
	WeakLight            = "weak-light"
	ShadeRetention       = "shade-retention"
	FlatRetention        = "flat-retention"
)

// Measures returns all measures in their fixed order.
func Measures() []Measure { return slices.Clone(measures) }

var measures = []Measure{
	{StcPower, "W", Tilted, "Power at standard test conditions", "Power that the panel would give at 1000 W/m2, cells at 25 C."},
	{ShareOfRating, "1", Tilted, "Share of rated power", "Power at standard test conditions divided by the nameplate's Pmax."},
	{PowerPerPrice, "W", Tilted, "Power per unit of currency", "Power at standard test conditions divided by the price as new in one currency, the middle of what testers told."},
	{PowerPerMass, "W/kg", Tilted, "Power per mass", "Power at standard test conditions divided by the mass as carried."},
	{PowerPerCellArea, "W/m2", Tilted, "Power per cell area", "Power at standard test conditions divided by the summed outlines of the cells."},
	{PowerPerPanelArea, "W/m2", Tilted, "Power per panel area", "Power at standard test conditions divided by the unfolded outline."},
	{PowerPerPackedVolume, "W/L", Tilted, "Power per packed volume", "Power at standard test conditions divided by the volume of the folded panel."},
	{Hot, "1", Tilted, "Share of rated power in the heat", "Power at 1000 W/m2 with cells at 65 C divided by the nameplate's Pmax."},
	{WeakLight, "1", Tilted, "Efficiency in weak light", "Efficiency at 200 W/m2 over that at 1000 W/m2, cells at one temperature, where readings tell it."},
	{ShadeRetention, "1", Covered, "Power kept under cover", "Power with sections covered over power uncovered, same unit and session, corrected for the sun's change."},
	{FlatRetention, "1", Flat, "Power kept flat on the ground", "Power flat over power tilted, same unit and session, with sun angle and usual heating taken out."},
}

// MeasureNamed returns the measure of that name.
func MeasureNamed(name string) (Measure, bool) {
	for _, m := range measures {
		if m.Name == name {
			return m, true
		}
	}
	return Measure{}, false
}
