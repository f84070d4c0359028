package web

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"evensun/internal/explain"
	"evensun/internal/fieldtest"
)

// sessionPage is a session as a page shows it.
type sessionPage struct {
	Frame    frameView
	About    []pairView
	Note     string
	Rows     []readRow
	Findings []string
	Cautions []fieldtest.Caution
	JSON     string
}

// readRow is one reading: what was read, what it is in standard light, what became of it.
type readRow struct{ Label, Href, Panel, PanelHref, Lay, Read, Light, Watts, State string }

// idOf reads an id of an address.
func idOf(c echo.Context, what string) (uuid.UUID, error) {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return id, fieldtest.Missing(what, c.Param("id"))
	}
	return id, nil
}

// session serves one session with its readings.
func (s *Site) session(c echo.Context) error {
	id, err := idOf(c, "session")
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	kept, err := s.reads.Session(ctx, id)
	if err != nil {
		return err
	}
	tester, err := s.reads.Tester(ctx, kept.TesterID)
	if err != nil {
		return err
	}
	n, err := s.names(ctx)
	if err != nil {
		return err
	}
	title := "Session of " + kept.Session.StartedAt.UTC().Format("2 Jan 2006")
	v := sessionPage{
		Frame: frameView{Title: title, Definition: "What was read, and what was made of it.", Demo: s.demo, Menu: menu(choice{})},
		About: aboutSession(&kept, tester.DisplayName), Note: kept.Session.Note, JSON: "/v1/sessions/" + id.String(), Cautions: kept.Cautions,
	}
	for i := range kept.Readings {
		v.Rows = append(v.Rows, readRowOf(&kept, i, n))
	}
	for i := range kept.Findings {
		v.Findings = append(v.Findings, kept.Findings[i].Reason)
	}
	return s.render(c, "session.html", v)
}

func aboutSession(k *fieldtest.StoredSession, tester string) []pairView {
	x := &k.Session
	about := []pairView{
		{"Tester", tester}, {"Begun", x.StartedAt.UTC().Format("2006-01-02 15:04 UTC")},
		{"Place", placeOf(&x.Site)}, {"State", string(k.State)},
	}
	add := func(name, format string, value *float64) {
		if value != nil {
			about = append(about, pairView{name, fmt.Sprintf(format, *value)})
		}
	}
	add("Height", "%.0f m", x.Site.AltitudeM)
	if x.Sky.Condition != "" {
		about = append(about, pairView{"Sky", words(string(x.Sky.Condition))})
	}
	add("Air", "%.1f °C", x.Weather.AirTemperatureC)
	add("Wind", "%.1f m/s", x.Weather.WindSpeedMS)
	add("Tilt", "%.0f°", x.Plane.TiltDeg)
	add("Facing", "%.0f°", x.Plane.AzimuthDeg)
	return about
}

// placeOf is a place as people write it.
func placeOf(site *fieldtest.Site) string {
	side := func(deg float64, positive, negative string) string {
		if deg < 0 {
			return fmt.Sprintf("%.1f° %s", -deg, negative)
		}
		return fmt.Sprintf("%.1f° %s", deg, positive)
	}
	return side(site.LatitudeDeg, "north", "south") + ", " + side(site.LongitudeDeg, "east", "west")
}

func words(code string) string { return strings.ReplaceAll(code, "_", " ") }

func readRowOf(k *fieldtest.StoredSession, i int, n names) readRow {
	j := &k.Readings[i]
	row := readRow{Label: j.Label, Lay: string(j.Arrangement), Watts: "none", State: stateOf(j)}
	if j.ID != nil {
		row.Href = "/readings/" + j.ID.String()
	}
	if j.PanelModel != nil {
		row.Panel, row.PanelHref = n.of(*j.PanelModel), panelPath(*j.PanelModel)
	}
	if i < len(k.Session.Readings) {
		row.Read, row.Light = readOf(&k.Session.Readings[i]), lightOf(&k.Session.Readings[i])
	}
	if j.Result != nil {
		row.Watts = fmt.Sprintf("%.1f (%.1f to %.1f) W", j.Result.StcPowerW, j.Result.StcPowerLoW, j.Result.StcPowerHiW)
	}
	return row
}

// readOf is what the meter showed.
func readOf(r *fieldtest.Reading) string {
	var shown []string
	add := func(x *float64, unit string) {
		if x != nil {
			shown = append(shown, strconv.FormatFloat(*x, 'g', 6, 64)+" "+unit)
		}
	}
	add(r.VoltageV, "V")
	add(r.CurrentA, "A")
	add(r.PowerW, "W")
	if r.Sweep != nil {
		shown = append(shown, fmt.Sprintf("a sweep of %d points", len(r.Sweep.VoltageV)))
	}
	return strings.Join(shown, ", ")
}

func lightOf(r *fieldtest.Reading) string {
	switch {
	case r.Irradiance.POAWM2 != nil:
		return fmt.Sprintf("%.0f W/m²", *r.Irradiance.POAWM2)
	case r.Irradiance.GHIWM2 != nil:
		return fmt.Sprintf("%.0f W/m² on the level", *r.Irradiance.GHIWM2)
	}
	return "not read"
}

// stateOf says whether a reading counts, and why it does not.
func stateOf(j *fieldtest.JudgedReading) string {
	text := string(j.State)
	if j.ResultReason != nil && *j.ResultReason != "" {
		text += ": " + explain.Reason(*j.ResultReason, false)
	}
	for i := range j.Findings {
		if j.Findings[i].Severity == fieldtest.Hold {
			text += ": " + j.Findings[i].Reason
		}
	}
	return text
}

// readingPage is a reading as a page shows it.
type readingPage struct {
	Frame              frameView
	Session, Panel     linkView
	Read, Light, State string
	Fall               []fallRow
	Parts              []partRow
	Steps              []stepView
	JSON               string
}

// fallRow is one step from what was read to the result: what it makes of the watts.
type fallRow struct{ What, Factor, Watts string }

// partRow is one part of the uncertainty, with a bar of its share of the largest.
type partRow struct{ Name, Percent, Width string }

type stepView struct{ Paragraph, Source string }

// reading serves one reading with the way to its result.
func (s *Site) reading(c echo.Context) error {
	id, err := idOf(c, "reading")
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	r, err := s.reads.Reading(ctx, id)
	if err != nil {
		return err
	}
	n, err := s.names(ctx)
	if err != nil {
		return err
	}
	j := &r.Judged
	v := readingPage{
		Frame:   frameView{Title: "Reading " + j.Label, Definition: "The way from what was read to standard light.", Demo: s.demo, Menu: menu(choice{})},
		Session: linkView{Title: "Session of " + j.TakenAt.UTC().Format("2 Jan 2006"), Href: "/sessions/" + r.SessionID.String()},
		Read:    readOf(&r.Raw), Light: lightOf(&r.Raw), State: stateOf(j), JSON: "/v1/readings/" + id.String() + "/derivation",
	}
	if j.PanelModel != nil {
		v.Panel = linkView{Title: n.of(*j.PanelModel), Href: panelPath(*j.PanelModel)}
	}
	if j.Result != nil {
		v.Fall, v.Parts = waterfall(j.Result, r.Steps), partsOf(&j.Result.Parts)
	}
	for i, paragraph := range explain.Paragraphs(r.Steps) {
		v.Steps = append(v.Steps, stepView{paragraph, r.Steps[i].Source})
	}
	return s.render(c, "reading.html", v)
}

// out is a number of a step's outputs.
func out(steps []fieldtest.Step, step, name string) (float64, bool) {
	for i := range steps {
		if x, ok := steps[i].Outputs[name].(float64); ok && steps[i].Step == step {
			return x, true
		}
	}
	return 0, false
}

// waterfall goes from the watts read to the result, each step with its factor.
func waterfall(r *fieldtest.Result, steps []fieldtest.Step) []fallRow {
	read, ok := out(steps, "wiring", "measured_power_w")
	terminal, ok2 := out(steps, "wiring", "terminal_power_w")
	if !ok || !ok2 || !(read > 0 && terminal > 0) {
		return nil
	}
	rows := []fallRow{{"Read", "", fmt.Sprintf("%.1f W", read)}}
	at := read
	step := func(what string, watts float64) {
		rows = append(rows, fallRow{what, fmt.Sprintf("× %.3f", watts/at), fmt.Sprintf("%.1f W", watts)})
		at = watts
	}
	step("Cable, converter and meter's place", terminal)
	if r.EffectiveWM2 > 0 {
		step(fmt.Sprintf("Light: %.0f W/m² to 1000 W/m²", r.EffectiveWM2), at*1000/r.EffectiveWM2)
	}
	if e, ok := out(steps, "low_light", "relative_efficiency"); ok && e > 0 {
		step("Weak light", at/e)
	}
	if before, ok := out(steps, "stc_power", "power_before_tracker_w"); ok {
		step(fmt.Sprintf("Cells: %.1f °C to 25 °C", r.CellC), before)
	}
	step("What the tracker missed", r.StcPowerW)
	return append(rows, fallRow{"In standard light", "", fmt.Sprintf("%.1f W (%.1f to %.1f W)", r.StcPowerW, r.StcPowerLoW, r.StcPowerHiW)})
}

// partsOf are the parts of the uncertainty by what shares them.
func partsOf(p *fieldtest.UncertaintyParts) []partRow {
	parts := []struct {
		name  string
		share float64
	}{
		{"this reading alone", p.Reading}, {"the session", p.Session}, {"the rig", p.Rig}, {"the panel model", p.Model}, {"all readings", p.Common},
	}
	most := 0.0
	for _, x := range parts {
		most = max(most, x.share)
	}
	rows := make([]partRow, 0, len(parts))
	for _, x := range parts {
		width := 0.0
		if most > 0 {
			width = 100 * x.share / most
		}
		rows = append(rows, partRow{x.name, fmt.Sprintf("%.2f %%", 100*x.share), strconv.FormatFloat(width, 'f', 1, 64) + "%"})
	}
	return rows
}
