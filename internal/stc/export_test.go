package stc

var CheckConditions = checkConditions

// Rules returns the table of methods.
func Rules() []Rule { return rules[:] }
