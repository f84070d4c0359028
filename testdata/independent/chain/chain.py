"""The point chain of a reading, from instant and place to power at standard test
conditions, in numpy arrays: one element a reading.

Written from the published formulas alone, in their own order (the Go code orders and
caches them otherwise):

  sun         I. Reda, A. Andreas, NREL/TP-560-34302 (2008), equations 4 to 46
  space       J. Spencer, Search 2 (1971) 172
  air mass    F. Kasten, A. Young, Applied Optics 28 (1989) 4735; ISO 2533 pressure
  clear sky   P. Ineichen, R. Perez, Solar Energy 73 (2002) 151
  plane       J. Hay, J. Davies (1980), isotropic ground
  cover       N. Martin, J. Ruiz, Sol. Energy Mater. Sol. Cells 70 (2001) 25 and 110 (2013)
  heat        D. King et al., SAND2004-3535 (2004), equations 11 and 12
  low light   A. Chatzipanagi et al., Prog. Photovolt. 33 (2025) 905, without temperature

Usage:
  chain.py cases       writes the 20 cases with their outcomes as JSON
  chain.py bench [n]   prints nanoseconds a reading, metered and clear_sky, in arrays of n
"""
import csv, datetime, json, pathlib, sys, time

import numpy as np

TABLE = pathlib.Path(__file__).parents[2] / "reference" / "physics" / "spa-terms.csv"


def read_terms():
    series, nutation = {}, []
    with open(TABLE) as f:
        for row in csv.reader(line for line in f if not line.startswith("#")):
            if row[0] == "N":
                nutation.append([float(x) for x in row[2:]])
            else:
                series.setdefault(row[0][0], {}).setdefault(int(row[0][1]), []).append([float(x) for x in row[2:]])
    return series, np.array(nutation)


SERIES, NUTATION = read_terms()
COEFFICIENTS = {k: [np.array(v[i]) for i in sorted(v)] for k, v in SERIES.items()}


def heliocentric(name, jme):
    """Sum of the periodic terms, equations 9 to 12."""
    total = np.zeros_like(jme)
    for power, t in enumerate(COEFFICIENTS[name]):
        total += jme**power * np.sum(t[:, :1] * np.cos(t[:, 1:2] + t[:, 2:3] * jme), axis=0)
    return total / 1e8


def nutation(jce):
    """Nutation in longitude and obliquity in degrees, equations 15 to 23."""
    x = np.array([
        297.85036 + 445267.111480 * jce - 0.0019142 * jce**2 + jce**3 / 189474,
        357.52772 + 35999.050340 * jce - 0.0001603 * jce**2 - jce**3 / 300000,
        134.96298 + 477198.867398 * jce + 0.0086972 * jce**2 + jce**3 / 56250,
        93.27191 + 483202.017538 * jce - 0.0036825 * jce**2 + jce**3 / 327270,
        125.04452 - 1934.136261 * jce + 0.0020708 * jce**2 + jce**3 / 450000,
    ])
    angle = np.radians(NUTATION[:, :5] @ x)
    a, b, c, d = (NUTATION[:, i:i + 1] for i in (5, 6, 7, 8))
    psi = np.sum((a + b * jce) * np.sin(angle), axis=0) / 36e6
    eps = np.sum((c + d * jce) * np.cos(angle), axis=0) / 36e6
    return psi, eps


def sun(days, lat, lon, alt):
    """Apparent zenith and azimuth in degrees; days after 2000-01-01T12:00 UT."""
    jc = days / 36525
    jce = (days + 69.2 / 86400) / 36525
    jme = jce / 10
    l, b, r = np.degrees(heliocentric("L", jme)), heliocentric("B", jme), heliocentric("R", jme)
    psi, deps = nutation(jce)
    u = jme / 10
    mean = np.polyval([2.45, 5.79, 27.87, 7.12, -39.05, -249.67, -51.38, 1999.25, -1.55, -4680.93, 84381.448], u) / 3600
    eps = np.radians(mean + deps)
    lam = np.radians(l + 180 + psi - 20.4898 / (3600 * r))
    beta = -b
    sidereal = 280.46061837 + 360.98564736629 * days + 0.000387933 * jc**2 - jc**3 / 38710000 + psi * np.cos(eps)
    alpha = np.arctan2(np.sin(lam) * np.cos(eps) - np.tan(beta) * np.sin(eps), np.cos(lam))
    delta = np.arcsin(np.sin(beta) * np.cos(eps) + np.cos(beta) * np.sin(eps) * np.sin(lam))
    h = np.radians(np.mod(sidereal + lon, 360)) - alpha
    phi = np.radians(lat)
    xi = np.radians(8.794 / (3600 * r))
    uu = np.arctan(0.99664719 * np.tan(phi))
    x = np.cos(uu) + alt / 6378140 * np.cos(phi)
    y = 0.99664719 * np.sin(uu) + alt / 6378140 * np.sin(phi)
    dalpha = np.arctan2(-x * np.sin(xi) * np.sin(h), np.cos(delta) - x * np.sin(xi) * np.cos(h))
    delta2 = np.arctan2((np.sin(delta) - y * np.sin(xi)) * np.cos(dalpha), np.cos(delta) - x * np.sin(xi) * np.cos(h))
    h2 = h - dalpha
    e0 = np.degrees(np.arcsin(np.sin(phi) * np.sin(delta2) + np.cos(phi) * np.cos(delta2) * np.cos(h2)))
    mbar = ((44331.514 - alt) / 11880.516)**(1 / 0.1902632)
    lift = mbar / 1010 * 283 / (273 + 12) * 1.02 / (60 * np.tan(np.radians(e0 + 10.3 / (e0 + 5.11))))
    lift = np.where(e0 >= -(0.26667 + 0.5667), lift, 0)
    azimuth = np.degrees(np.arctan2(np.sin(h2), np.cos(h2) * np.sin(phi) - np.tan(delta2) * np.cos(phi))) + 180
    return 90 - e0 - lift, azimuth, mbar * 100 / 101325


def clear_sky(zenith, pressure, day, alt, linke):
    """GHI, DNI, DHI and the irradiance above the air, W/m2."""
    g = 2 * np.pi * (day - 1) / 365
    above = 1361 * (1.00011 + 0.034221 * np.cos(g) + 0.00128 * np.sin(g) + 0.000719 * np.cos(2 * g) + 0.000077 * np.sin(2 * g))
    cosz = np.maximum(np.cos(np.radians(zenith)), 0)
    am = pressure / (np.cos(np.radians(zenith)) + 0.50572 * (96.07995 - zenith)**-1.6364)
    fh1, fh2 = np.exp(-alt / 8000), np.exp(-alt / 1250)
    cg1, cg2 = 5.09e-5 * alt + 0.868, 3.92e-5 * alt + 0.0387
    ghi = cg1 * above * cosz * np.exp(-cg2 * am * (fh1 + fh2 * (linke - 1)))
    first = above * (0.664 + 0.163 / fh1) * np.exp(-0.09 * am * (linke - 1))
    second = ghi / cosz * (1 - (0.1 - 0.2 * np.exp(-linke)) / (0.1 + 0.882 / fh1))
    dni = np.maximum(np.minimum(first, second), 0)
    return ghi, dni, ghi - dni * cosz, above


def on_plane(zenith, azimuth, ghi, dni, dhi, above, tilt, facing, albedo):
    """Plane-of-array irradiance and what of it counts through the cover, W/m2."""
    z, b = np.radians(zenith), np.radians(tilt)
    cos_i = np.maximum(np.cos(b) * np.cos(z) + np.sin(b) * np.sin(z) * np.cos(np.radians(azimuth - facing)), 0)
    ai = dni / above
    beam = dni * cos_i + dhi * ai * cos_i / np.maximum(np.cos(z), 0.01745)
    diffuse = dhi * (1 - ai) * (1 + np.cos(b)) / 2
    ground = albedo * ghi * (1 - np.cos(b)) / 2
    ar = 0.16
    c1, c2 = 4 / (3 * np.pi), 0.5 * ar - 0.154
    xs = np.sin(b) + (np.pi - b - np.sin(b)) / (1 + np.cos(b))
    flat = b < 1e-3
    safe = np.where(flat, 1, b)
    xg = np.where(flat, 4 * b / 3, np.sin(safe) + (safe - np.sin(safe)) / (1 - np.cos(safe)))
    through = (1 - np.exp(-cos_i / ar)) / (1 - np.exp(-1 / ar))
    sky = 1 - np.exp(-(c1 * xs + c2 * xs**2) / ar)
    earth = 1 - np.exp(-(c1 * xg + c2 * xg**2) / ar)
    return beam + diffuse + ground, through * beam + sky * diffuse + earth * ground


def chain(r):
    """Power at standard test conditions in W, and the steps to it. poa and back are NaN
    where not measured."""
    zenith, azimuth, pressure = sun(r["days"], r["lat"], r["lon"], r["alt"])
    ghi, dni, dhi, above = clear_sky(zenith, pressure, r["day"], r["alt"], r["linke"])
    poa, effective = on_plane(zenith, azimuth, ghi, dni, dhi, above, r["tilt"], r["facing"], r["albedo"])
    metered = ~np.isnan(r["poa"])
    poa, effective = np.where(metered, r["poa"], poa), np.where(metered, r["poa"], effective)
    module = np.where(np.isnan(r["back"]), r["air"] + poa * np.exp(-3.56 - 0.075 * r["wind"]), r["back"])
    cell = module + 3 * poa / 1000
    terminal = r["power"] + r["current"]**2 * r["ohm"]
    log = np.log(effective / 1000)
    efficiency = 1 - 0.006756 * log - 0.016444 * log**2
    power = terminal / 0.995 * 1000 / effective / ((1 + r["gamma"] * (cell - 25)) * efficiency)
    return {"apparent_zenith_deg": zenith, "azimuth_deg": azimuth, "poa_w_m2": poa, "effective_w_m2": effective, "cell_c": cell, "stc_power_w": power}


def readings(n):
    """n readings over the globe with the sun above 22 degrees, every other one metered,
    by an additive recurrence: no random numbers."""
    golden = 0.6180339887498949
    names = ("lat", "when", "noon", "alt", "tilt", "facing", "linke", "albedo", "air", "wind", "power", "back")
    u = {k: np.mod(0.37 + (i + 1) * golden**(i % 5 + 1) * np.arange(1, 40 * n + 1), 1) for i, k in enumerate(names)}
    start = datetime.datetime(2026, 1, 1, 12, tzinfo=datetime.timezone.utc)
    seconds = np.floor(u["when"] * 364 * 86400)
    r = {
        "seconds": seconds, "days": (start.timestamp() + seconds - 946728000) / 86400, "day": np.floor((seconds + 43200) / 86400) + 1,
        "lat": np.round(-66 + 132 * u["lat"], 3), "lon": np.round(np.mod(-(seconds % 86400) / 240 + 60 * (u["noon"] - 0.5) + 180, 360) - 180, 3),
        "alt": np.round(1900 * u["alt"]), "tilt": np.round(75 * u["tilt"], 1), "facing": np.round(360 * u["facing"]),
        "linke": np.round(2 + 4 * u["linke"], 2), "albedo": np.round(0.1 + 0.5 * u["albedo"], 2),
        "air": np.round(-5 + 40 * u["air"], 1), "wind": np.round(6 * u["wind"], 1), "gamma": np.full(40 * n, -0.0035),
        "power": np.round(60 + 100 * u["power"], 1), "ohm": np.zeros(40 * n), "current": np.zeros(40 * n),
        "poa": np.full(40 * n, np.nan), "back": np.full(40 * n, np.nan),
    }
    odd = np.arange(40 * n) % 2 == 1
    r["poa"][odd] = np.round(420 + 600 * u["linke"], 1)[odd]
    r["back"][odd] = np.round(20 + 35 * u["back"], 1)[odd]
    zenith, _, pressure = sun(r["days"], r["lat"], r["lon"], r["alt"])
    with np.errstate(all="ignore"):
        out = chain(r)
    good = (zenith < 68) & (out["effective_w_m2"] > 300)
    keep = np.sort(np.concatenate([np.flatnonzero(good & odd)[:n // 2], np.flatnonzero(good & ~odd)[:n - n // 2]]))
    return start, {k: v[keep] for k, v in r.items()}


def cases(n=20):
    start, r = readings(n)
    out = chain(r)
    inputs = ("lat", "lon", "alt", "tilt", "facing", "linke", "albedo", "air", "wind", "power", "poa", "back", "gamma")
    for i in range(n):
        at = start + datetime.timedelta(seconds=float(r["seconds"][i]))
        given = {k: None if np.isnan(r[k][i]) else float(r[k][i]) for k in inputs}
        yield {"utc": at.strftime("%Y-%m-%dT%H:%M:%SZ"), **given, "want": {k: float(v[i]) for k, v in out.items()}}


def bench(n):
    """Best of nine runs, ns a reading."""
    _, r = readings(n)
    for name, metered in (("metered", True), ("clear_sky", False)):
        one = {k: np.resize(v[np.isnan(r["poa"]) != metered], n) for k, v in r.items()}
        best = np.inf
        for _ in range(9):
            begin = time.perf_counter_ns()
            chain(one)
            best = min(best, time.perf_counter_ns() - begin)
        print(name, best / n)


if __name__ == "__main__":
    if sys.argv[1:2] == ["cases"]:
        print("[\n" + ",\n".join(json.dumps(c) for c in cases()) + "\n]")
    elif sys.argv[1:2] == ["bench"]:
        bench(int(sys.argv[2]) if len(sys.argv) > 2 else 2000)
    else:
        sys.exit(__doc__)
