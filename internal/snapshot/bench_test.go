package snapshot_test

import (
	"testing"

	"evensun/internal/snapshot"
)

func BenchmarkBuild(b *testing.B) {
	in, m := invented(), meta()
	for b.Loop() {
		if _, err := snapshot.Build(b.Context(), in, m); err != nil {
			b.Fatal(err)
		}
	}
}
