// Prints positions of the sun from Astronomy Engine, an astronomical library that is
// no relative of the algorithm under test (VSOP87 series cut by its author, IAU 2000B
// nutation, IAU 2006 precession). Instants and places come from a small seeded
// generator, so that the output is the same every time. See README.md.
import * as A from "astronomy-engine";

let state = 12345;
function random() { // Park and Miller 1988, minimal standard
  state = (state * 48271) % 2147483647;
  return state / 2147483647;
}
const round = (x, digits) => Number(x.toFixed(digits));

const cases = [];
for (let i = 0; i < 200; i++) {
  const unix = Math.floor(Date.UTC(2010, 0, 1) / 1000 + random() * 30 * 365.25 * 86400);
  const latitude = round(Math.asin(2 * random() - 1) * 180 / Math.PI, 4);
  const longitude = round(360 * random() - 180, 4);
  const altitude = Math.round(4000 * random());
  const when = new Date(unix * 1000);
  const site = new A.Observer(latitude, longitude, altitude);
  const eq = A.Equator(A.Body.Sun, when, site, true, true);
  const hor = A.Horizon(when, site, eq.ra, eq.dec);
  cases.push({
    in: { utc: when.toISOString(), latitude_deg: latitude, longitude_deg: longitude, altitude_m: altitude },
    out: { zenith_deg: round(90 - hor.altitude, 6), azimuth_deg: round(hor.azimuth, 6), distance_au: round(eq.dist, 8) },
  });
}

const events = [];
for (const [latitude, longitude] of [[0, 36.8], [39.742, -104.99], [-33.8688, 151.2093], [51.4779, 0], [-54.8019, -68.303], [64.1466, -21.9426], [1.3521, 103.8198], [21.3069, -157.8583]]) {
  for (const month of [1, 3, 6, 8, 10, 12]) {
    const date = new Date(Date.UTC(2025, month - 1, 15));
    const site = new A.Observer(latitude, longitude, 0);
    const start = new Date(date.getTime() - longitude / 15 * 3600e3); // mean midnight at the site
    const noon = A.SearchHourAngle(A.Body.Sun, site, 0, start).time.date;
    const rise = A.SearchRiseSet(A.Body.Sun, site, +1, new Date(noon.getTime() - 12 * 3600e3), 1).date;
    const set = A.SearchRiseSet(A.Body.Sun, site, -1, noon, 1).date;
    events.push({ date: date.toISOString(), latitude_deg: latitude, longitude_deg: longitude,
      noon: noon.toISOString(), rise: rise.toISOString(), set: set.toISOString() });
  }
}
process.stdout.write(JSON.stringify({ source: "Astronomy Engine 2.1.19 (astronomy-engine on npm), no refraction; events with its standard horizon", cases, events }, null, 0)
  .replaceAll('{"in"', '\n{"in"').replaceAll('{"date"', '\n{"date"') + "\n");
