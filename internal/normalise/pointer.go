package normalise

import "strconv"

// readingPointer is the JSON pointer of a reading, with a slash at its end.
func readingPointer(index int) string { return "#/readings/" + strconv.Itoa(index) + "/" }
