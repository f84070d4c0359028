package sky

import "math"

// A Brightness is the state of the sky in the model of Perez et al.
type Brightness struct {
	Epsilon float64 // clearness, 1 (overcast) to above 6.2 (very clear)
	Delta   float64 // brightness of the diffuse light
}

// PerezBrightness returns the two indices of a sky, without unit, for diffuse light
// above 0:
//
//	epsilon = ((DHI+DNI)/DHI + 1.041 z^3)/(1 + 1.041 z^3),  Delta = DHI*AM/E0n,  z in rad
//
// NaN where DHI is 0.
//
// Error: the formula to rounding.
//
// Source: R. Perez et al., Solar Energy 44 (1990) 271, equations 1 and 2.
func PerezBrightness(h Horizontal, s *Sun) Brightness {
	z := s.ApparentZenithDeg * deg
	k := 1.041 * z * z * z
	return Brightness{
		Epsilon: ((h.DHIWM2+h.DNIWM2)/h.DHIWM2 + k) / (1 + k),
		Delta:   h.DHIWM2 * s.AirMass / s.ExtraterrestrialWM2,
	}
}

// Perez returns the sky's diffuse light on a plane, W/m2:
//
//	D = max(0, DHI*((1-F1)*(1+cos b)/2 + F1*a/c + F2*sin b)),  a = max(0, cos th),  c = max(cos 85 deg, cos z)
//
// with F1 and F2 from table 6 by epsilon, Delta and z. It is reported beside
// HayDavies, whose difference to it is part of the model's uncertainty.
//
// Error: about 2 % of the total under clear skies. It jumps between the bins of
// epsilon and fails in cloud enhancement, hence not our default.
//
// Source: R. Perez et al., Solar Energy 44 (1990) 271, equation 9, tables 1 and 6.
func Perez(h Horizontal, s *Sun, p *Plane) float64 {
	if h.DHIWM2 <= 0 {
		return 0
	}
	b := PerezBrightness(h, s)
	f := perezRow(b.Epsilon)
	z := s.ApparentZenithDeg * deg
	around := max(0, f[0]+f[1]*b.Delta+f[2]*z)
	band := f[3] + f[4]*b.Delta + f[5]*z
	facing := max(0, p.CosIncidence(s)) / max(math.Cos(85*deg), s.Up)
	return max(0, h.DHIWM2*((1-around)*p.skyView+around*facing+band*p.sinTilt))
}

// perezRow returns f11, f12, f13, f21, f22, f23 of table 6.
func perezRow(epsilon float64) [6]float64 {
	row := 0
	for row < len(perezBins) && epsilon >= perezBins[row] {
		row++
	}
	return perezTable[row]
}

// perezBins are the lower bounds of epsilon of the second to the eighth bin, table 1.
var perezBins = [...]float64{1.065, 1.230, 1.500, 1.950, 2.800, 4.500, 6.200}

// perezTable is table 6: all sites together.
var perezTable = [...][6]float64{
	{-0.008, 0.588, -0.062, -0.060, 0.072, -0.022},
	{0.130, 0.683, -0.151, -0.019, 0.066, -0.029},
	{0.330, 0.487, -0.221, 0.055, -0.064, -0.026},
	{0.568, 0.187, -0.295, 0.109, -0.152, -0.014},
	{0.873, -0.392, -0.362, 0.226, -0.462, 0.001},
	{1.132, -1.237, -0.412, 0.288, -0.823, 0.056},
	{1.060, -1.600, -0.359, 0.264, -1.127, 0.131},
	{0.678, -0.327, -0.250, 0.156, -1.377, 0.251},
}
