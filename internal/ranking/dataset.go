package ranking

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
	"sort"
	"strings"

	"github.com/google/uuid"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
)

// A Dataset is the readings of one fit, coded: those of one measurand, in one order.
type Dataset struct {
	Name     string // tilted, flat, covered/0.25 and so on
	Rows     []Row
	Panels   []string    // by code
	Testers  []uuid.UUID // by code; linked testers share one
	Sessions []uuid.UUID
	Rigs     []RigVersion
	Table    compare.Table
	Seed     uint64
	freed    int // sessions that speak in contrasts only
}

// A RigVersion is a rig as it was described at one time.
type RigVersion struct {
	ID       uuid.UUID
	Revision int
}

// A Row is one response: a reading, or the mean of several where a measure averages
// first.
type Row struct {
	Observation *Observation // the reading, or the first of those averaged
	Y           float64      // response, logarithmic
	U           float64      // reading part of its relative uncertainty
	Panel       int32
	Session     int32
	Tester      int32
	Rig         int32
}

// DatasetNamed returns the name of the dataset of readings in an arrangement, of covered
// ones of a cover class.
func DatasetNamed(a fieldtest.Arrangement, class string) string {
	if class == "" {
		return string(a)
	}
	return string(a) + "/" + class
}

// Arrangement returns how the panels lay in the readings of the dataset, and the class of
// covered ones.
func (d *Dataset) Arrangement() (a fieldtest.Arrangement, class string) {
	name, class, _ := strings.Cut(d.Name, "/")
	return fieldtest.Arrangement(name), class
}

// tiltedRows are the responses of the power measures.
func tiltedRows(in *Inputs, observations []Observation) []Row {
	pmax := map[string]float64{}
	for _, p := range in.Panels {
		if p.PmaxW != nil {
			pmax[p.Slug] = *p.PmaxW
		}
	}
	var rows []Row
	for i := range observations {
		o := &observations[i]
		rating, ok := pmax[o.Panel]
		if !ok || o.Arrangement != fieldtest.Tilted || !usable(o, in.Rules.MaxU) {
			continue
		}
		y := math.Log(o.Result.StcPowerW / rating)
		if math.IsNaN(y) || math.IsInf(y, 0) {
			continue
		}
		rows = append(rows, Row{Observation: o, Y: y, U: o.Result.Parts.Reading})
	}
	return rows
}

// usable tells whether a reading may count: counted by its state, with a result whose
// uncertainty is not too large.
func usable(o *Observation, maxU float64) bool {
	if o.State != fieldtest.Counted || o.Result == nil || !o.Result.Rankable {
		return false
	}
	r := o.Result
	return r.StcPowerW > 0 && r.StcPowerUW/r.StcPowerW <= maxU
}

// retentionRows are the responses of a retention measure. Several readings of one unit
// in one session are averaged first: they share the reference.
func retentionRows(in *Inputs, observations []Observation, measure, class string) []Row {
	type unit struct {
		session         uuid.UUID
		panel, specimen string
	}
	panels := in.bySlug()
	groups := map[unit][]*Observation{}
	var order []unit
	for i := range observations {
		o := &observations[i]
		if o.State != fieldtest.Counted || o.Result == nil || o.Result.Retention == nil || panels[o.Panel] == nil {
			continue
		}
		k := o.Result.Retention
		if k.Measure != measure || k.CoverClass != class {
			continue
		}
		key := unit{o.SessionID, o.Panel, o.Specimen}
		if groups[key] == nil {
			order = append(order, key)
		}
		groups[key] = append(groups[key], o)
	}
	var rows []Row
	for _, key := range order {
		rows = append(rows, meanRetention(groups[key], in.Rules.LeastRetention))
	}
	return rows
}

// meanRetention averages on the logarithmic scale.
func meanRetention(group []*Observation, least float64) Row {
	var sum, squares float64
	for _, o := range group {
		k := o.Result.Retention
		value := max(k.Value, least)
		sum += math.Log(value)
		squares += (k.U / value) * (k.U / value)
	}
	n := float64(len(group))
	return Row{Observation: group[0], Y: sum / n, U: math.Sqrt(squares) / n}
}

// newDataset codes rows; their order is kept.
func newDataset(in *Inputs, name string, rows []Row) *Dataset {
	d := &Dataset{Name: name, Rows: rows}
	panels, testers := map[string]int32{}, map[uuid.UUID]int32{}
	sessions, rigs := map[uuid.UUID]int32{}, map[RigVersion]int32{}
	for _, slug := range distinctPanels(rows) {
		panels[slug] = int32(len(d.Panels))
		d.Panels = append(d.Panels, slug)
	}
	for i := range rows {
		r, o := &rows[i], rows[i].Observation
		r.Panel = panels[o.Panel]
		r.Tester = code(testers, &d.Testers, in.CountsAs(o.TesterID))
		r.Session = code(sessions, &d.Sessions, o.SessionID)
		r.Rig = code(rigs, &d.Rigs, RigVersion{o.RigID, o.RigRevision})
	}
	d.Seed = seedOf(in, d)
	return d
}

func distinctPanels(rows []Row) []string {
	seen := map[string]bool{}
	var slugs []string
	for i := range rows {
		if slug := rows[i].Observation.Panel; !seen[slug] {
			seen[slug] = true
			slugs = append(slugs, slug)
		}
	}
	sort.Strings(slugs)
	return slugs
}

func code[K comparable](codes map[K]int32, names *[]K, key K) int32 {
	if c, ok := codes[key]; ok {
		return c
	}
	c := int32(len(*names))
	codes[key] = c
	*names = append(*names, key)
	return c
}

// seedOf is the seed of all drawn numbers: the first 8 bytes of the hash over what the
// testers submitted and the reviewers decided, not over computed numbers, whose last
// bits differ between machines.
func seedOf(in *Inputs, d *Dataset) uint64 {
	h := sha256.New()
	h.Write([]byte(d.Name + "\n" + Version + "\n"))
	for _, p := range in.Panels {
		writeAll(h, p.Slug, uint64(p.Revision))
	}
	for i := range d.Rows {
		o := d.Rows[i].Observation
		h.Write(o.SessionID[:])
		h.Write(o.ReadingID[:])
		writeAll(h, o.ContentSHA256+string(o.State), uint64(o.Revision), uint64(o.RigRevision))
	}
	for _, k := range in.Keeps {
		h.Write(k.TesterID[:])
		h.Write(k.SessionID[:])
		writeAll(h, k.Level+k.Panel+k.Dataset)
	}
	sum := h.Sum(nil)
	return binary.BigEndian.Uint64(sum[:8])
}

type byteWriter interface{ Write([]byte) (int, error) }

func writeAll(h byteWriter, text string, numbers ...uint64) {
	var b [8]byte
	for _, n := range numbers {
		binary.BigEndian.PutUint64(b[:], n)
		_, _ = h.Write(b[:]) // a hash never fails
	}
	_, _ = h.Write([]byte(text + "\x00"))
}

// meanSquares adds up the known variance that rows share, code by code.
type meanSquares struct {
	sum []float64
	n   []float64
}

func newMeanSquares(codes int) meanSquares {
	return meanSquares{make([]float64, codes), make([]float64, codes)}
}

func (m meanSquares) add(c int32, u float64) {
	m.sum[c] += u * u
	m.n[c]++
}

func (m meanSquares) values() []float64 {
	out := make([]float64, len(m.sum))
	for i := range out {
		if m.n[i] > 0 {
			out[i] = m.sum[i] / m.n[i]
		}
	}
	return out
}

// fillTable makes the engine's table. ratio says that what a session's readings share
// cancels in the response already.
func (d *Dataset) fillTable(in *Inputs, ratio bool) {
	t := compare.Table{}
	sessions, rigs := newMeanSquares(len(d.Sessions)), newMeanSquares(len(d.Rigs))
	for i := range d.Rows {
		r := &d.Rows[i]
		t.Value, t.Variance = append(t.Value, r.Y), append(t.Variance, r.U*r.U)
		t.Panel, t.Session = append(t.Panel, r.Panel), append(t.Session, r.Session)
		t.Tester, t.Rig = append(t.Tester, r.Tester), append(t.Rig, r.Rig)
		if !ratio {
			sessions.add(r.Session, r.Observation.Result.Parts.Session)
			rigs.add(r.Rig, r.Observation.Result.Parts.Rig)
		}
	}
	t.SessionVariance, t.RigVariance = sessions.values(), rigs.values()
	t.SessionKey = d.sessionKeys()
	d.Table = t
	if !ratio {
		d.freeUnmetered(in)
	}
}

// sessionKeys is the order in which a tester's sessions are kept for the variances: by
// a hash that nobody can choose.
func (d *Dataset) sessionKeys() []uint64 {
	keys := make([]uint64, len(d.Sessions))
	var seed [8]byte
	binary.BigEndian.PutUint64(seed[:], d.Seed)
	for i, id := range d.Sessions {
		sum := sha256.Sum256(append(id[:], seed[:]...))
		keys[i] = binary.BigEndian.Uint64(sum[:8])
	}
	return keys
}

// freeUnmetered lets sessions without a meter speak in contrasts only, once enough
// testers of their component have metered sessions: the error of an assumed sky belongs
// to a place and would spoil the level.
func (d *Dataset) freeUnmetered(in *Inputs) {
	component := d.components()
	metered := make([]bool, len(d.Sessions))
	testers := map[int]map[int32]bool{}
	for i := range d.Rows {
		r := &d.Rows[i]
		if !r.Observation.metered() {
			continue
		}
		metered[r.Session] = true
		c := component[r.Panel]
		if testers[c] == nil {
			testers[c] = map[int32]bool{}
		}
		testers[c][r.Tester] = true
	}
	free := make([]bool, len(d.Sessions))
	for i := range d.Rows {
		r := &d.Rows[i]
		if !metered[r.Session] && len(testers[component[r.Panel]]) >= in.Rules.MeteredTesters && !free[r.Session] {
			free[r.Session] = true
			d.Table.SessionVariance[r.Session] += in.Rules.FreeSessionVariance
			d.freed++
		}
	}
}
