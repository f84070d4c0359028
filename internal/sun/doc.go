// Package sun tells where the sun stands at an instant and a place, and how
// bright it is above the air.
//
// Position is the whole of NREL's solar position algorithm: the earth's
// heliocentric longitude, latitude and distance from 192 periodic terms, nutation
// from 63, aberration, sidereal time, parallax of the observer and refraction.
// Track is the same algorithm for many instants of one session: the periodic terms
// are summed once together with their first and second derivatives, the equatorial
// place of the sun follows a parabola, and only the turn of the earth and the
// observer's horizon are computed for each reading.
//
// Around it stand the small formulas that sky models share: distance of the sun by
// day of year, air mass, standard pressure, refraction, and the events of a day
// (rise, noon, set, and the windows in which a field test is worth the trouble).
//
// Instants are time.Time and mean UTC; nothing here reads a clock. Angles are
// degrees, azimuth runs clockwise from true north, heights are above the ellipsoid's
// horizon. NaN in gives NaN out.
//
// Sources: I. Reda, A. Andreas, Solar Position Algorithm for Solar Radiation
// Applications, NREL/TP-560-34302 (2004, revised 2008), equations 4 to 46, tables
// A4.2 and A4.3; J. W. Spencer, Search 2 (1971) 172; F. Kasten, A. T. Young, Applied
// Optics 28 (1989) 4735; ISO 2533 standard atmosphere; G. Kopp, J. L. Lean,
// Geophysical Research Letters 38 (2011) L01706.
//
// Not covered: terrain and obstacles on the horizon, magnetic declination, eclipses,
// calendars other than the Gregorian (dates before 1582 are proleptic), leap
// seconds (UTC stands for UT1: below 0.004 deg).
package sun
