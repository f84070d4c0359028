package httpapi

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"evensun/internal/contract"
	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/sheet"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
)

// Content types of a table of readings.
const (
	csvMedia      = "text/csv"
	workbookMedia = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
	jsonlMedia    = "application/x-ndjson"
)

// importBytes bounds a table. 20,000 readings of 30 columns are about 4 MiB as text.
const importBytes = 10 << 20

// A table holds as many readings as 40 sessions at their bound, so it may take longer.
const (
	importPath     = "/v1/imports"
	importPatience = 4 // times the limit of another request
)

// ImportSessions answers POST /v1/imports.
func (s *Server) ImportSessions(c echo.Context, params ImportSessionsParams) error {
	table, err := s.table(c, params)
	if err != nil {
		return err
	}
	answer := Import{Notes: orEmpty(table.Notes), Stored: !deref(params.DryRun)}
	for _, session := range table.Sessions {
		item, err := s.importOne(c.Request().Context(), callerOf(c), session, deref(params.DryRun))
		if err != nil {
			return err
		}
		answer.count(item)
		answer.Items = append(answer.Items, item)
	}
	slices.SortStableFunc(answer.Items, func(a, b ImportItem) int { return importOrder[a.Outcome] - importOrder[b.Outcome] })
	return s.imported(c, answer)
}

// imported answers with the outcomes; what must not be overlooked stands in headers too.
func (s *Server) imported(c echo.Context, answer Import) error {
	body, err := marshal(answer)
	if err != nil {
		return err
	}
	h := c.Response().Header()
	h.Set("Evensun-Failed", strconv.Itoa(answer.Summary.Failed))
	last := int64(0)
	for _, item := range answer.Items {
		if item.Receipt != nil && item.Receipt.Sequence != nil {
			last = max(last, *item.Receipt.Sequence)
		}
	}
	if last > 0 {
		h.Set("Evensun-Sequence", strconv.FormatInt(last, 10))
	}
	return s.reply(c, reply{status: http.StatusMultiStatus, media: jsonType, cache: cacheNever, body: body})
}

// importOrder puts first what asks for something to be done.
var importOrder = map[ImportItemOutcome]int{ImportItemOutcomeFailed: 0, ImportItemOutcomeHeld: 1, ImportItemOutcomeCreated: 2, ImportItemOutcomeReplayed: 3}

func (a *Import) count(item ImportItem) {
	a.Summary.Readings += item.Readings
	switch item.Outcome {
	case ImportItemOutcomeFailed:
		a.Summary.Failed++
	case ImportItemOutcomeReplayed:
		a.Summary.Replayed++
	case ImportItemOutcomeHeld:
		a.Summary.Held++
		a.Summary.Created++
	default:
		a.Summary.Created++
	}
}

// table reads the body as sessions, by its content type.
func (s *Server) table(c echo.Context, p ImportSessionsParams) (*sheet.Table, error) {
	media, params, err := mime.ParseMediaType(c.Request().Header.Get("Content-Type"))
	charset := strings.ToLower(params["charset"])
	if err != nil || charset != "" && charset != "utf-8" || c.Request().Header.Get("Content-Encoding") != "" || !slices.Contains([]string{csvMedia, workbookMedia, jsonlMedia}, media) {
		return nil, &fieldtest.Refusal{Kind: fieldtest.UnsupportedMediaType, Detail: "The body must be a table as CSV in UTF-8, a workbook or JSON Lines, uncompressed. Nothing was stored.",
			Extra: map[string]any{"supported": []string{csvMedia, workbookMedia, jsonlMedia}}}
	}
	raw, err := readWhole(c, importBytes)
	if err != nil {
		return nil, err
	}
	if media == jsonlMedia {
		return sheet.ReadLines(raw)
	}
	offset := strings.Replace(deref(p.UtcOffset), " ", "+", 1) // a plus sign in an address means a blank
	return sheet.Read(raw, sheet.Options{Workbook: media == workbookMedia, DecimalComma: deref(p.Decimal) == "comma", UTCOffset: offset, Ignore: deref(p.Ignore)})
}

// importOne submits one session of a table. The error is ours; what is wrong with the
// session stands in the item.
func (s *Server) importOne(ctx context.Context, who fieldtest.Caller, one *sheet.Session, dryRun bool) (ImportItem, error) {
	item := ImportItem{Line: one.Line, Readings: one.Readings(), Errors: one.Faults}
	if one.Ref != "" {
		item.Session = &one.Ref
	}
	if len(one.Faults) > 0 {
		return failed(item, fieldtest.ValidationFailed, one.Faults), nil
	}
	receipt, replayed, err := s.submitRows(ctx, who, one, dryRun)
	if refusal, ok := errors.AsType[*fieldtest.Refusal](err); ok && refusal.Kind != fieldtest.Overloaded && refusal.Kind != fieldtest.ReadOnly {
		return failed(item, refusal.Kind, one.Locate(refusal.Faults)), nil
	}
	if err != nil {
		return item, err
	}
	item.Receipt, item.ID, item.Errors = receipt, receipt.ID, []sheet.Fault{}
	for i := range receipt.Readings {
		if receipt.Readings[i].State == fieldtest.Held {
			item.Held++
		}
	}
	item.Status, item.Outcome = http.StatusCreated, ImportItemOutcomeCreated
	switch {
	case replayed:
		item.Status, item.Outcome = http.StatusOK, ImportItemOutcomeReplayed
	case item.Held > 0:
		item.Outcome = ImportItemOutcomeHeld
	}
	if dryRun {
		item.Status = http.StatusOK
	}
	return item, nil
}

func failed(item ImportItem, kind fieldtest.RefusalKind, faults []sheet.Fault) ImportItem {
	code := string(kind)
	item.Status, item.Code, item.Outcome, item.Errors = statuses[kind].code, &code, ImportItemOutcomeFailed, orEmpty(faults)
	return item
}

// submitRows takes one session of a table the way of every session.
func (s *Server) submitRows(ctx context.Context, who fieldtest.Caller, one *sheet.Session, dryRun bool) (*fieldtest.Receipt, bool, error) {
	rig, err := s.rigNamed(ctx, who, one.RigName)
	if err != nil {
		return nil, false, err
	}
	raw, err := one.Document(rig)
	if err != nil {
		return nil, false, err
	}
	session, err := contract.Session(raw, s.cfg.Now())
	if err != nil {
		return nil, false, err
	}
	response, replayed, err := s.cfg.Intake.Submit(ctx, who, session, intake.SubmitOptions{DryRun: dryRun})
	if err != nil {
		return nil, false, err
	}
	var receipt fieldtest.Receipt
	if err := json.NewDecoder(bytes.NewReader(response.Body)).Decode(&receipt); err != nil {
		return nil, false, err
	}
	return &receipt, replayed, nil
}

// rigNamed returns the id of the caller's own rig of a name, nil where there is none:
// a table names a rig in every row, and it is stored once.
func (s *Server) rigNamed(ctx context.Context, who fieldtest.Caller, name string) (*uuid.UUID, error) {
	if name == "" || who.Role == fieldtest.Anonymous {
		return nil, nil
	}
	id, err := s.cfg.Store.RigNamed(ctx, who.TesterID, name)
	if isKind(err, fieldtest.NotFound) {
		return nil, nil
	}
	return &id, err
}

// GetImportTemplate answers GET /v1/imports/template.csv.
func (s *Server) GetImportTemplate(c echo.Context) error {
	c.Response().Header().Set("Content-Disposition", `attachment; filename="evensun-readings.csv"`)
	return s.reply(c, reply{media: csvType, cache: cachePublic, body: sheet.Template()})
}

// ListColumns answers GET /v1/meta/columns.
func (s *Server) ListColumns(c echo.Context, _ ListColumnsParams) error {
	describes := map[sheet.Scope]ColumnDescribes{sheet.OfReading: ColumnDescribesReading, sheet.OfPanel: ColumnDescribesPanel, sheet.OfSession: ColumnDescribesSession}
	var list []Column
	for _, column := range sheet.Columns() {
		one := Column{Name: column.Name, Describes: describes[column.Scope], Headings: orEmpty(column.Usual), Meaning: column.Meaning}
		if column.Unit != "" {
			one.Unit = &column.Unit
		}
		list = append(list, one)
	}
	return s.sendJSON(c, Columns{Columns: list}, byContent, cachePublic)
}
