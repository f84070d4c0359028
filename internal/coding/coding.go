// Package coding compresses answers for clients that take them so.
//
// # Sources
//
// RFC 9110 (2022), HTTP Semantics, 8.4 and 12.5.3, content codings and Accept-Encoding,
// 12.4.2, quality values.
//
// Not covered: codings other than gzip, streams.
package coding

import (
	"bytes"
	"compress/gzip"
	"io"
	"strconv"
	"strings"
	"sync"
)

// WorthFrom is the size in bytes below which compressing costs more than it saves
// (common practice, no source).
const WorthFrom = 1024

var packers = sync.Pool{New: func() any {
	z, _ := gzip.NewWriterLevel(io.Discard, gzip.BestSpeed) // the level is valid
	return z
}}

// Gzip returns body compressed.
func Gzip(body []byte) ([]byte, error) {
	var out bytes.Buffer
	z := packers.Get().(*gzip.Writer)
	defer packers.Put(z)
	z.Reset(&out)
	if _, err := z.Write(body); err != nil {
		return nil, err
	}
	err := z.Close() // writes the rest
	return out.Bytes(), err
}

// Accepts tells whether a list as in Accept-Encoding names a coding without q=0.
func Accepts(header, coding string) bool {
	for item := range strings.SplitSeq(header, ",") {
		name, params, _ := strings.Cut(item, ";")
		if strings.EqualFold(strings.TrimSpace(name), coding) {
			return Quality(params) > 0
		}
	}
	return false
}

// Quality returns the weight that the parameters of one item of such a list give it, 0 to
// 1 by the standard, 1 where there is none and 0 where it is no number.
func Quality(params string) float64 {
	for p := range strings.SplitSeq(params, ";") {
		if q, ok := strings.CutPrefix(strings.TrimSpace(p), "q="); ok {
			x, err := strconv.ParseFloat(q, 64)
			if err != nil {
				return 0
			}
			return x
		}
	}
	return 1
}
