package sheet

import (
	"bytes"
	"encoding/json"
	"fmt"
)

// mostLine bounds a session in JSON Lines as the interface bounds one alone, 1 MiB.
const mostLine = 1 << 20

// ReadLines returns the sessions of a file with one document of the interface a line.
func ReadLines(raw []byte) (*Table, error) {
	t := &Table{}
	line := 0
	for text := range bytes.Lines(bytes.TrimPrefix(raw, byteOrderMark)) {
		line++
		text = bytes.TrimSpace(text)
		if len(text) == 0 {
			continue
		}
		if len(text) > mostLine {
			return nil, unreadable("too_long", fmt.Sprintf("Line %d is longer than %d bytes.", line, mostLine))
		}
		s := &Session{Line: line, written: bytes.Clone(text)}
		var known struct {
			ClientRef string            `json:"client_ref"`
			Readings  []json.RawMessage `json:"readings"`
		}
		if err := json.Unmarshal(text, &known); err == nil { // else the interface says what is wrong
			s.Ref = known.ClientRef
			for range known.Readings {
				s.lines = append(s.lines, line)
			}
		}
		t.Sessions = append(t.Sessions, s)
	}
	if len(t.Sessions) == 0 {
		return nil, unreadable("empty", "There is no session in the file.")
	}
	return t, nil
}
