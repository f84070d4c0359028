// Package sheet reads tables of readings, as people keep them in spreadsheets, and
// writes each session of a table as the JSON document that the interface takes.
//
// A table has one reading a row below one row of column names. A column is named like
// the member of the interface that it fills (voltage_v, taken_at, latitude_deg) or by one
// of a few usual spreadsheet headings with their unit (Voltage (V), Temp (°F)); Columns
// lists both. A unit in a heading is checked and, where it is another than the member's,
// converted, and the answer says so. Rows belong to one session by the column session,
// else by local day, place and rig. What belongs to the session, its rig or a panel may
// stand in every row or in the first one only.
//
// The documents go through the same checks as a session sent as JSON, so nothing is
// judged here but what makes a table unreadable: an unknown column, a cell that is no
// number, two rows of a session that contradict each other. Every member of a document
// remembers the cell that it came from.
//
// # Sources
//
// CSV: RFC 4180; the separator is the comma, semicolon or tab that the header row uses.
// A mile is 1609.344 m, a foot 0.3048 m, a pound 0.45359237 kg (international yard and
// pound agreement of 1959); degrees Fahrenheit by their definition, (F - 32)/1.8.
//
// # Not covered
//
// Current-voltage sweeps, which need many points a reading: send those as JSON. Sheets of
// a workbook other than the first.
package sheet
