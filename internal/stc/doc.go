// Package stc carries what was read in the field to standard test conditions:
// 1000 W/m2 on the panel, cells at 25 C, the spectrum AM 1.5.
//
// A field reading differs from the nameplate's world in three ways. It may have
// been taken behind a cable, a controller or a tracker, so first comes the way
// back to the panel's terminals. The light was not 1000 W/m2: power follows the
// light, less a few percent at low light. The cells were hot: power falls by
// some 0.35 % a kelvin. From one operating point the last two are undone by
// simple scaling; from a whole current-voltage sweep by the procedures of
// IEC 60891, which move every point of the curve. Choose says which method fits
// the data at hand and Check why another does not.
//
// # What the methods scatter on measured data
//
// One module under different light and temperature has one power at standard
// conditions; what a method makes of its readings scatters around it. Printed
// by
//
//	go test -run TestSpread -v ./internal/stc
//
//	SPREAD
//
// # Sources
//
//   - IEC 60891:2021, Photovoltaic devices: procedures for temperature and
//     irradiance corrections to measured I-V characteristics, procedures 1 to 4.
//     The equations were taken from open implementations; procedures 2 and 4 to
//     targets other than standard conditions are our algebra. The standard itself
//     was not at hand and should be read before a result is called "IEC 60891".
//   - Y. Hishikawa et al., IEEE J. Photovoltaics 8 (2018) 48-53 (procedure 4)
//   - Y. Xu et al., Prog. Photovolt. (2023), doi 10.1002/pip.3702 (why procedure 3
//     must not extrapolate)
//   - A. Driesse, J. Stein, SAND2020-3877; A. Driesse et al., IEEE J.
//     Photovoltaics 11 (2021) 527-534, equations 25 to 30 (ADR)
//   - T. Huld et al., Sol. Energy Mater. Sol. Cells 95 (2011) 3359-3369, equation
//     1; A. Chatzipanagi et al., Prog. Photovolt. 33 (2025) 905-917
//   - IEC 60028 (copper), ASTM B258 (wire gauge), EN 50530 (tracker efficiency)
//
// Check values: testdata/reference/physics/translation.json, wiring_loss.json.
//
// # Not covered
//
// Spectrum (an uncertainty, not a correction), rear irradiance (package sky),
// Isc, Voc and series resistance of a sweep (package diode), the uncertainty of
// any of this (package budget), power matrices by IEC 61853-1.
package stc
