//go:build !unix

package compare_test

import "time"

// processorTime returns 0: this system does not tell.
func processorTime() time.Duration { return 0 }
