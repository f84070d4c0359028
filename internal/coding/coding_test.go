package coding_test

import (
	"bytes"
	"compress/gzip"
	"io"
	"testing"

	"evensun/internal/coding"
)

// Source: the examples of RFC 9110 12.5.3, but for the last four.
func TestAccepts(t *testing.T) {
	t.Parallel()
	for header, want := range map[string]bool{
		"compress, gzip": true, "": false, "*": false, "compress;q=0.5, gzip;q=1.0": true, "gzip;q=1.0, identity; q=0.5, *;q=0": true,
		"GZIP": true, "gzip;q=0": false, "br, gzip ; q=0.0": false, "gzip;q=much": false,
	} {
		if got := coding.Accepts(header, "gzip"); got != want {
			t.Errorf("Accepts(%q) = %t, want %t", header, got, want)
		}
	}
}

func TestGzipComesBack(t *testing.T) {
	t.Parallel()
	want := bytes.Repeat([]byte("watts and volts, "), 200)
	packed, err := coding.Gzip(want)
	if err != nil || len(packed) >= len(want)/4 {
		t.Fatalf("Gzip() of %d bytes = %d bytes, %v", len(want), len(packed), err)
	}
	z, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		t.Fatal(err)
	}
	if got, err := io.ReadAll(z); err != nil || !bytes.Equal(got, want) {
		t.Errorf("unpacked %d bytes, %v, want the same %d", len(got), err, len(want))
	}
}
