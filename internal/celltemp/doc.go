// Package celltemp tells how hot the cells of a panel are.
//
// Cells lose power with heat, 0.3 to 0.5 % a kelvin, and stand 20 to 50 K above the
// air in full sun, so a result at standard conditions needs their temperature. The
// evidence is a sensor on the back, the panel's own open-circuit voltage, or the air,
// the sun and the wind through a model fitted to rigid modules. Best knows the standard
// uncertainty of each and takes the smallest, in this order where they are alike.
//
// Temperatures are C, differences K, irradiance W/m2 on the plane, wind m/s. NaN in
// gives NaN out.
//
// Sources: D. King, W. Boyson, J. Kratochvil, Photovoltaic Array Performance Model,
// SAND2004-3535 (2004), equations 11 and 12, table 1; D. Faiman, Progress in
// Photovoltaics 16 (2008) 307; R. Ross, 12th IEEE Photovoltaic Specialists Conference
// (1976); IEC 60904-5 for the idea of the panel as its own thermometer.
//
// Not covered: no coefficients have been published for folding panels of fabric; those
// here are for rigid modules, and the uncertainties say so. No model of rain, of snow
// on the panel, of cells that heat in reverse bias (shade).
package celltemp
