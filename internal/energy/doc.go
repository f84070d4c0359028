// Package energy tells how many watt-hours a panel yields on one day at one place:
// propped up, flat on the ground, and turned to the sun every two hours, under a
// clear sky and under a typical one.
//
// The day is summed in steps of ten minutes from midnight to midnight of the sun:
//
//	E = P_stc m sum of (G_eff/1000) (1 + gamma (Tc - 25)) e(G_eff) dt
//
// with the sun of package sun, the light of package sky, the cells' temperature of
// package celltemp and the low-light curve of package stc, while the sun stands
// more than 2 deg above the horizon. Every input that is not known is moved by its
// uncertainty and the day is summed again: that is the whole of the interval.
//
// A clear day is a cloudless sky. A typical day is the mean of the days at that time
// of the year: its light on the horizontal is the clearness index times the light
// above the air. How much of that comes straight from the sun no index says. Two
// days bracket it: one as hazy at every minute as the mean, and one that is clear for
// a part and overcast for the rest. The mean of both is the answer and their distance
// is in its interval.
//
// # Sources
//
//   - Those of packages sun, sky, celltemp and stc for the chain.
//   - F. Kasten, G. Czeplak, Solar and terrestrial radiation dependent on the amount
//     and type of cloud, Solar Energy 24 (1980) 177-189: an overcast sky lets a
//     quarter of the clear sky's light through.
//   - D. Erbs, S. Klein, J. Duffie, Solar Energy 28 (1982) 293: the split of light
//     under clouds; its monthly form checks the typical day in the tests.
//   - Usual clearness and air temperature by latitude and season: from memory, no
//     table was at hand (UsualClearness, UsualAir say with which error). A caller who
//     knows better gives his own.
//
// # Not covered
//
// Shade, horizons that are not flat, snow, dirt, the battery that is full at noon,
// and how days differ from their mean.
package energy
