package stc

// VmpSlope returns the relative temperature coefficient of the maximum power
// voltage from that of the open-circuit voltage, both 1/K: beta - 0.0007. Common
// practice; an exact panel has -0.00374 against -0.00297.
//
// betaPerK is -0.006 to -0.001.
//
// Error: 0.0001/K on an exact panel. Source: common practice, no source.
func VmpSlope(betaPerK float64) float64 { return betaPerK - 0.0007 }
