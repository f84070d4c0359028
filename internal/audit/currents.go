package audit

import (
	"bytes"
	"fmt"
	"maps"
	"math"
	"slices"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
	"evensun/internal/robust"
)

// What the comparison of currents rests on (common practice, no source; the numbers of
// package limits, rule current_irradiance_conflict).
const (
	otherTesters   = 3      // that a median takes
	currentSpread  = 0.03   // relative, between units of a model
	leastCurrentZ  = 2      // standard deviations
	voltageNear    = 0.05   // relative, from the others' voltage
	alphaPerK      = 0.0005 // of the current: usual, it acts on differences of temperature only
	vmpSlopePerK   = -0.0039
	standardCellsC = 25
)

// A currentRow is one reading's current for its light and its voltage, both as at 25 C.
type currentRow struct {
	raw     *Raw
	o       *ranking.Observation
	tester  uuid.UUID // who it counts as
	perWM2  float64   // A for 1000 W/m2
	voltage float64
	u       float64 // relative, of the reading with what its rig and session share
}

// currents finds sessions in which a panel gives less current for the measured light than
// other testers' readings of the model do. More current is a matter of the nameplate
// (package limits); less than the nameplate promises is what the service measures, so
// only the others can tell that a reading is too low.
//
// It is here and not where a reading is judged on its way in: there the answer would
// depend on who came first, the first readings of a model would never be compared, and a
// reading judged again would meet other readings. Here it is a function of the same set
// as the rankings, whatever its order, and recomputed with them.
//
// The ratio of the implied to the measured irradiance needs no nameplate when it is
// compared with others of the model: the reference current falls out. Each other tester
// has one voice, the median of his readings; a median of three takes no single one's word.
func currents(in *ranking.Inputs, raw []Raw) []doubt {
	byPanel := currentRows(in, raw)
	var tests []doubt
	for _, panel := range slices.Sorted(maps.Keys(byPanel)) {
		tests = append(tests, currentTests(panel, byPanel[panel])...)
	}
	return discovered(tests, leastCurrentZ)
}

// currentRows are the counted operating points under a light meter that show voltage and
// current, by panel model.
func currentRows(in *ranking.Inputs, raw []Raw) map[string][]currentRow {
	shown := make(map[uuid.UUID]*Raw, len(raw))
	for i := range raw {
		shown[raw[i].ReadingID] = &raw[i]
	}
	rows := map[string][]currentRow{}
	for i := range in.Observations {
		o := &in.Observations[i]
		r := shown[o.ReadingID]
		if r == nil || r.VoltageV == nil || r.CurrentA == nil || !comparableCurrent(o) {
			continue
		}
		heat, parts := o.Result.CellC-standardCellsC, &o.Result.Parts
		rows[o.Panel] = append(rows[o.Panel], currentRow{
			raw: r, o: o, tester: in.CountsAs(o.TesterID),
			perWM2:  1000 * *r.CurrentA / (o.Result.EffectiveWM2 * (1 + alphaPerK*heat)),
			voltage: *r.VoltageV / (1 + vmpSlopePerK*heat),
			u:       math.Sqrt(square(parts.Reading) + square(parts.Session) + square(parts.Rig)),
		})
	}
	return rows
}

func comparableCurrent(o *ranking.Observation) bool {
	return o.State == fieldtest.Counted && o.Arrangement == fieldtest.Tilted && o.Result != nil && o.Result.Rankable &&
		o.Result.IrradianceOrigin != fieldtest.OriginClearSky && o.Result.EffectiveWM2 > 0
}

// A voice is what one tester found of a panel: medians of current and voltage.
type voice struct{ amps, volts float64 }

// currentTests compares every session that holds a panel model with the other testers.
func currentTests(panel string, rows []currentRow) []doubt {
	ofTester, ofSession := map[uuid.UUID][]currentRow{}, map[uuid.UUID][]currentRow{}
	for _, r := range rows {
		ofTester[r.tester] = append(ofTester[r.tester], r)
		ofSession[r.o.SessionID] = append(ofSession[r.o.SessionID], r)
	}
	if len(ofTester) <= otherTesters {
		return nil
	}
	voices := make(map[uuid.UUID]voice, len(ofTester))
	for tester, list := range ofTester {
		voices[tester] = voice{medianOf(list, perWM2Of), medianOf(list, voltageOf)}
	}
	var tests []doubt
	for _, id := range slices.SortedFunc(maps.Keys(ofSession), byID) {
		if d, ok := currentTest(panel, ofSession[id], voices); ok {
			tests = append(tests, d)
		}
	}
	return tests
}

func byID(a, b uuid.UUID) int { return bytes.Compare(a[:], b[:]) }

// currentTest compares the readings of one session with the voices of the other testers.
func currentTest(panel string, own []currentRow, voices map[uuid.UUID]voice) (doubt, bool) {
	var amps, volts []float64
	for tester, v := range voices {
		if tester != own[0].tester {
			amps, volts = append(amps, v.amps), append(volts, v.volts)
		}
	}
	othersA, othersV := robust.Median(amps), robust.Median(volts)
	near := slices.DeleteFunc(slices.Clone(own), func(r currentRow) bool { return math.Abs(r.voltage/othersV-1) > voltageNear })
	if len(near) == 0 {
		return doubt{}, false // another operating point: the rules of that look at it
	}
	slices.SortFunc(near, func(a, b currentRow) int { return byID(a.o.ReadingID, b.o.ReadingID) })
	session, by := near[0].o.SessionID, near[0].o.TesterID
	d := newDoubt(currentLow)
	tilted := fieldtest.Tilted
	d.session, d.tester, d.panel, d.arrangement = &session, &by, &panel, &tilted
	d.delta = math.Log(medianOf(near, perWM2Of) / othersA)
	offV := math.Log(medianOf(near, voltageOf) / othersV) // near its maximum power a panel's current falls as its voltage rises
	d.se = math.Sqrt(square(medianOf(near, uOf)) + currentSpread*currentSpread + offV*offV)
	d.t = d.delta / d.se
	d.p = math.Erfc(-d.t/math.Sqrt2) / 2 // one-sided: only less current is doubted here
	d.value, d.limit, d.relation, d.unit = othersA*math.Exp(d.delta), othersA*math.Exp(-leastCurrentZ*d.se), ">=", "A"
	d.note("others_current_a", othersA)
	d.basis["other_testers"] = len(amps)
	d.basis["readings"] = rowsShown(near)
	d.reason = fmt.Sprintf("%s gives %s less current for the measured light here than with %d other testers, at about the same voltage. Likely a meter that reads high or was better exposed than the panel, shade, dirt, or another variant of the model.",
		panel, offBy(d.delta), len(amps))
	return d, true
}

func square(x float64) float64 { return x * x }

func perWM2Of(r *currentRow) float64  { return r.perWM2 }
func voltageOf(r *currentRow) float64 { return r.voltage }
func uOf(r *currentRow) float64       { return r.u }

func medianOf(rows []currentRow, value func(*currentRow) float64) float64 {
	list := make([]float64, len(rows))
	for i := range rows {
		list[i] = value(&rows[i])
	}
	return robust.Median(list)
}

func rowsShown(rows []currentRow) []map[string]any {
	list := make([]*Raw, len(rows))
	for i := range rows {
		list[i] = rows[i].raw
	}
	return rawShown(list)
}
