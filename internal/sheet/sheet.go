package sheet

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
)

// Options say how a table is to be read.
type Options struct {
	Workbook     bool     // Office Open XML instead of text
	DecimalComma bool     // numbers have a decimal comma
	UTCOffset    string   // of times that do not say theirs, as +02:00
	Ignore       []string // headings to pass over
}

// A Table is a spreadsheet as sessions.
type Table struct {
	Sessions []*Session // in the order of their first rows
	Notes    []string   // what was converted or filled in
}

// A Session is the rows of one session, as a document of the interface.
type Session struct {
	Line    int    // of its first row
	Ref     string // the tester's name of it
	RigName string // of a rig described or named; empty where the table gives an id
	Faults  []Fault

	written  []byte // the document as sent, where it was JSON already
	document tree
	places   map[string]Cell // by JSON pointer
	lines    []int           // by reading
}

// A Cell is a place in a table.
type Cell struct {
	Line   int    // from 1, as a spreadsheet counts
	Column string // its name in the interface; empty: the whole row
}

// A Fault is what is wrong with a cell.
type Fault struct {
	fieldtest.Fault
	Line   int    `json:"line"`
	Column string `json:"column,omitempty"`
}

// Read returns the sessions of a table. The error is a *fieldtest.Refusal where the table
// as a whole cannot be read; what is wrong with single cells stands in their sessions.
func Read(raw []byte, o Options) (*Table, error) {
	read := readCSV
	if o.Workbook {
		read = readWorkbook
	}
	g, err := read(raw)
	if err != nil {
		return nil, err
	}
	headings, notes, err := readHeader(g.header.cells, o.Ignore)
	if err != nil {
		return nil, err
	}
	in := &reader{options: o, headings: headings, workbook: g.workbook, byKey: map[string]*Session{}, out: &Table{Notes: notes}}
	for _, r := range g.rows {
		in.row(r)
	}
	panels := in.out.described()
	for _, s := range in.out.Sessions {
		s.finish(panels)
	}
	return in.out, nil
}

// described returns the panels that the table describes, each by its first row with a
// nameplate.
func (t *Table) described() map[string]tree {
	known := map[string]tree{}
	for _, s := range t.Sessions {
		for _, r := range s.document.list("readings") {
			if slug := r.text("panel/model"); slug != "" && known[slug] == nil && r.has("panel/nameplate") {
				known[slug] = r.branch("panel")
			}
		}
	}
	return known
}

// reader takes the rows of a table one after the other.
type reader struct {
	options  Options
	headings []heading
	workbook bool
	byKey    map[string]*Session
	last     *cells // the row before
	out      *Table
}

// cells are one row by the names of its columns.
type cells struct {
	line     int
	byName   map[string]string
	workbook bool
}

func (c *cells) text(name string) string { return c.byName[name] }

// inherited are the members of a session that a row takes from the row before where it
// leaves them empty: what a spreadsheet writes once.
var inherited = []string{"session", "date", "utc_offset", "latitude_deg", "longitude_deg", "altitude_m", "ground", "ground_albedo", "place_rounding_deg",
	"sky_condition", "rig", "rig_kind", "power_read_at", "instrument", "accuracy_voltage_percent", "accuracy_current_percent", "accuracy_power_percent",
	"resolution_voltage_v", "resolution_current_a", "resolution_power_w", "cable_length_m", "cable_cross_section_mm2", "rig_battery_voltage_v", "converter_efficiency"}

func (in *reader) row(r row) {
	c := &cells{line: r.line, byName: map[string]string{}, workbook: in.workbook}
	for i, text := range r.cells {
		if i < len(in.headings) && !in.headings[i].ignored && text != "" {
			c.byName[in.headings[i].Name] = text
		}
	}
	own := len(c.byName)
	if in.last != nil {
		for _, name := range inherited {
			if _, given := c.byName[name]; !given && in.last.byName[name] != "" {
				c.byName[name] = in.last.byName[name]
			}
		}
	}
	in.last = c
	if own == 0 {
		return
	}
	s := in.sessionOf(c)
	if len(r.cells) > len(in.headings) {
		s.fault(Cell{Line: r.line}, "#", "too_many_cells", "", fmt.Sprintf("The row has %d cells below %d headings.", len(r.cells), len(in.headings)))
	}
	in.read(s, c)
}

// sessionOf returns the session that a row belongs to, a new one where it begins one.
func (in *reader) sessionOf(c *cells) *Session {
	key := c.text("session")
	if key == "" {
		day := c.text("date")
		if at, ok, _, _ := in.options.instant(c); ok {
			day = at.Format(time.DateOnly)
		}
		key = strings.Join([]string{"\x00", day, c.text("latitude_deg"), c.text("longitude_deg"), c.text("rig")}, "\x00")
	}
	if s := in.byKey[key]; s != nil {
		return s
	}
	s := &Session{Line: c.line, Ref: c.text("session"), document: tree{}, places: map[string]Cell{}}
	in.byKey[key] = s
	in.out.Sessions = append(in.out.Sessions, s)
	return s
}

// read puts a row into its session.
func (in *reader) read(s *Session, c *cells) {
	reading := tree{}
	index := len(s.lines)
	s.lines = append(s.lines, c.line)
	base := "/readings/" + strconv.Itoa(index)
	for i := range in.headings {
		h := &in.headings[i]
		text := c.text(h.Name)
		if h.ignored || h.path == "" || text == "" || h.Kind == Time {
			continue
		}
		pointer, target := "/"+h.path, s.document
		if h.Scope != OfSession {
			pointer, target = base+"/"+h.path, reading
		}
		at := Cell{Line: c.line, Column: h.Name}
		value, bad := in.options.value(h, text, in.workbook)
		if bad != nil {
			s.fault(at, "#"+pointer, bad.code, text, bad.reason)
			continue
		}
		if first, differs := target.put(h.path, value); differs {
			s.fault(at, "#"+pointer, "differs_in_session", text, fmt.Sprintf("A row before says %s of the same session. Write one value, or give the rows different names in the column session.", first))
			continue
		}
		if _, known := s.places[pointer]; !known {
			s.places[pointer] = at
		}
	}
	in.times(s, reading, c, base)
	in.panel(s, reading, c, base)
	s.document.add("readings", reading)
}

// times fills in when the reading was taken and, where a column says so, when its session
// began and ended.
func (in *reader) times(s *Session, reading tree, c *cells, base string) {
	at, ok, column, bad := in.options.instant(c)
	switch {
	case bad != nil:
		s.fault(Cell{Line: c.line, Column: column}, "#"+base+"/taken_at", bad.code, c.text(column), bad.reason)
	case ok:
		reading.put("taken_at", quoted(at.Format(time.RFC3339)))
		s.places[base+"/taken_at"] = Cell{Line: c.line, Column: column}
	}
	for _, name := range []string{"started_at", "ended_at"} {
		text := c.text(name)
		if text == "" {
			continue
		}
		cell := Cell{Line: c.line, Column: name}
		at, bad := in.options.moment(text, c)
		if bad != nil {
			s.fault(cell, "#/"+name, bad.code, text, bad.reason)
			continue
		}
		if first, differs := s.document.put(name, quoted(at.Format(time.RFC3339))); differs {
			s.fault(cell, "#/"+name, "differs_in_session", text, "A row before says "+first+" of the same session.")
			continue
		}
		s.places["/"+name] = cell
	}
}

// panel names the panel of a reading. A name that is no slug becomes one.
func (in *reader) panel(s *Session, reading tree, c *cells, base string) {
	name, described := c.text("panel"), reading.has("panel/nameplate")
	if name == "" {
		name = strings.TrimSpace(c.text("maker") + " " + c.text("model_name"))
	}
	if name == "" {
		return
	}
	slug := slugOf(name)
	reading.put("panel/model", quoted(slug))
	s.places[base+"/panel/model"] = Cell{Line: c.line, Column: "panel"}
	if described && !reading.has("panel/model_name") && slug != name {
		reading.put("panel/model_name", quoted(name))
	}
	if !described {
		reading.drop("panel/maker")
		reading.drop("panel/model_name")
	}
}

// slugOf returns a name as it stands in addresses: small letters and digits, joined by
// hyphens.
func slugOf(name string) string {
	var b strings.Builder
	gap := false
	for _, r := range strings.ToLower(name) {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			if gap && b.Len() > 0 {
				b.WriteByte('-')
			}
			b.WriteRune(r)
			gap = false
			continue
		}
		gap = true
	}
	return b.String()
}

// finish completes a session once all its rows are known.
func (s *Session) finish(panels map[string]tree) {
	readings := s.document.list("readings")
	s.label(readings)
	s.describe(readings, panels)
	for _, r := range readings {
		cover(r)
	}
	s.refer(readings)
	if !s.document.has("started_at") {
		if first := earliest(readings); first != "" {
			s.document.put("started_at", quoted(first))
		}
	}
	rig := s.document.branch("rig")
	name := rig.text("name")
	if _, err := uuid.Parse(name); err == nil {
		s.document["rig"] = tree{"id": quoted(name)}
		return
	}
	s.RigName = name
}

// label gives readings that have no label their number, so that others can refer to them.
func (s *Session) label(readings []tree) {
	taken := map[string]bool{}
	for _, r := range readings {
		taken[r.text("label")] = true
	}
	for i, r := range readings {
		if n := strconv.Itoa(i + 1); !r.has("label") && !taken[n] {
			r.put("label", quoted(n))
		}
	}
}

// refer gives a covered reading without a reference the last uncovered one of the same
// panel and unit before it, or else the first after it.
func (s *Session) refer(readings []tree) {
	for i, r := range readings {
		if !r.has("cover") || r.has("cover/reference_label") {
			continue
		}
		if j := referenceFor(readings, i); j >= 0 {
			r.put("cover/reference_label", quoted(readings[j].text("label")))
		}
	}
}

func referenceFor(readings []tree, i int) int {
	fits := func(j int) bool {
		r := readings[j]
		arrangement := r.text("arrangement")
		return j != i && !r.has("cover") && (arrangement == "" || arrangement == string(fieldtest.Tilted)) &&
			r.text("panel/model") == readings[i].text("panel/model") && r.text("panel/specimen") == readings[i].text("panel/specimen")
	}
	for j := i - 1; j >= 0; j-- {
		if fits(j) {
			return j
		}
	}
	for j := i + 1; j < len(readings); j++ {
		if fits(j) {
			return j
		}
	}
	return -1
}

// describe gives every reading of a panel what the table says of it.
func (s *Session) describe(readings []tree, panels map[string]tree) {
	for i, r := range readings {
		described := panels[r.text("panel/model")]
		if described == nil {
			continue
		}
		panel := r.branch("panel")
		for _, member := range []string{"maker", "model_name", "nameplate", "construction", "size"} {
			if first, given := described[member]; given && panel[member] == nil {
				panel[member] = first
			}
		}
		if !sameJSON(panel["nameplate"], described["nameplate"]) {
			s.fault(Cell{Line: s.lines[i]}, "#/readings/"+strconv.Itoa(i)+"/panel/nameplate", "differs_in_session", "", "A row before describes this panel otherwise.")
		}
	}
}

// cover completes what a row says of a covered panel: the number of its sections, and
// that it was covered at all.
func cover(reading tree) {
	covered := reading.text("cover/sections_covered")
	if covered == "" || covered == "0" {
		reading.drop("cover")
		return
	}
	if total := reading.text("panel/construction/sections"); total != "" && !reading.has("cover/sections_total") {
		reading.put("cover/sections_total", json.RawMessage(total))
	}
	if !reading.has("arrangement") {
		reading.put("arrangement", quoted(string(fieldtest.Covered)))
	}
	if !reading.has("panel/nameplate") {
		reading.drop("panel/construction") // the number of sections served the cover
	}
}

func earliest(readings []tree) string {
	var first time.Time
	var text string
	for _, r := range readings {
		at, err := time.Parse(time.RFC3339, r.text("taken_at"))
		if err == nil && (text == "" || at.Before(first)) {
			first, text = at, r.text("taken_at")
		}
	}
	return text
}

// fault notes what is wrong with a cell.
func (s *Session) fault(at Cell, pointer, code, value, reason string) {
	f := Fault{Line: at.Line, Column: at.Column}
	f.Pointer, f.Code, f.Reason = pointer, code, reason
	if value != "" {
		f.Value = clip(value)
	}
	s.Faults = append(s.Faults, f)
}

// Document returns the session as the JSON that the interface takes. rig is the id of a
// stored rig that stands in for the one named, nil for none.
func (s *Session) Document(rig *uuid.UUID) ([]byte, error) {
	if s.written != nil {
		return s.written, nil
	}
	if rig == nil {
		return json.Marshal(s.document)
	}
	with := tree{}
	for name, value := range s.document {
		with[name] = value
	}
	with["rig"] = tree{"id": quoted(rig.String())}
	return json.Marshal(with)
}

// Readings returns how many rows the session has.
func (s *Session) Readings() int { return len(s.lines) }

// Locate returns faults of the session's document with the cells that they come from.
func (s *Session) Locate(faults []fieldtest.Fault) []Fault {
	all := make([]Fault, len(faults))
	for i, f := range faults {
		at := s.cellOf(strings.TrimPrefix(f.Pointer, "#"))
		all[i] = Fault{Fault: f, Line: at.Line, Column: at.Column}
	}
	return all
}

// cellOf returns the cell that filled a member, or the row that it belongs to.
func (s *Session) cellOf(pointer string) Cell {
	for p := pointer; p != ""; p = p[:strings.LastIndexByte(p, '/')] {
		if at, ok := s.places[p]; ok {
			return at
		}
	}
	parts := strings.Split(pointer, "/")
	if len(parts) > 2 && parts[1] == "readings" {
		if i, err := strconv.Atoi(parts[2]); err == nil && i < len(s.lines) {
			return Cell{Line: s.lines[i]}
		}
	}
	return Cell{Line: s.Line}
}

// Template returns the names of all columns as a table without readings.
func Template() []byte { return []byte(strings.Join(names(), ",") + "\r\n") }
