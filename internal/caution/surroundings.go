package caution

import (
	"fmt"
	"math"
)

// WindForce returns the force in N of the wind on a panel across it:
//
//	F = 0.5 * 1.225 * W^2 * 1.2 * A
//
// windMS in m/s (0 to 30), areaM2 the unfolded area in m2. A gust of 1.4 W
// doubles it.
//
// Source: drag of a flat plate, coefficient 1.2, air at sea level.
func WindForce(windMS, areaM2 float64) float64 {
	return 0.5 * 1.225 * windMS * windMS * 1.2 * areaM2
}

// HeatIndex returns how hot the air feels in the shade in C, from its temperature
// in C and the relative humidity in percent (held to 0..100); NaN where the
// regression does not hold: air or index below 80 deg F (26.7 C). Full sun adds up
// to 8 K.
//
// Error: 1.3 deg F against Steadman's table, by its author.
//
// Source: L. Rothfusz, NWS SR 90-23 (1990), with the adjustments for dry and for
// damp air in use at the NWS.
func HeatIndex(airC, humidityPercent float64) float64 {
	t, rh := airC*1.8+32, math.Min(100, math.Max(0, humidityPercent))
	if !(t >= 80) {
		return math.NaN()
	}
	hi := -42.379 + 2.04901523*t + 10.14333127*rh - 0.22475541*t*rh - 0.00683783*t*t - 0.05481717*rh*rh +
		0.00122874*t*t*rh + 0.00085282*t*rh*rh - 0.00000199*t*t*rh*rh
	switch {
	case rh < 13 && t <= 112:
		hi -= (13 - rh) / 4 * math.Sqrt((17-math.Abs(t-95))/17)
	case rh > 85 && t <= 87:
		hi += (rh - 85) / 10 * (87 - t) / 5
	}
	if !(hi >= 80) {
		return math.NaN()
	}
	return (hi - 32) / 1.8
}

func (l *list) surroundings(s *Session, p *Panel) {
	l.hotSurface(s.HottestC)
	l.wind(s.WindMS, p.PanelAreaM2)
	l.lifting(p.MassKg)
	l.heat(s.AirC, s.HumidityPercent)
	l.eyes(s)
	l.storm(s)
}

func (l *list) hotSurface(hottestC float64) {
	const text = "A dark panel and its plugs get hot enough to burn skin: wear gloves, and keep it off tents, dry grass and car seats."
	switch {
	case hottestC > 70:
		l.add("hot_surface", Warn, fmt.Sprintf("It reached %.0f C. %s", math.Ceil(hottestC), text))
	case hottestC > 55, !given(hottestC):
		l.add("hot_surface", Inform, text)
	}
}

func (l *list) wind(windMS, areaM2 float64) {
	const cure = "Anchor the panel or fold it."
	force := WindForce(windMS, areaM2)
	text := fmt.Sprintf("A wind of %.1f m/s pushes with about %.0f N on this panel, a gust with twice that. %s", windMS, math.Ceil(force), cure)
	switch {
	case !given(force):
		l.add("wind_load", Inform, "A panel is a sail: wind can throw it. "+cure)
	case force > 100:
		l.add("wind_load", Warn, text)
	case force > 50:
		l.add("wind_load", Inform, text)
	}
}

func (l *list) lifting(massKg float64) {
	const text = "Carry it with two people and a straight back, and mind your fingers at the folds."
	switch {
	case !given(massKg):
		l.add("lifting", Inform, "Large panels are heavy. "+text)
	case massKg > 23:
		l.add("lifting", Warn, fmt.Sprintf("It weighs %.1f kg. %s", massKg, text))
	case massKg > 15:
		l.add("lifting", Inform, text)
	}
}

func (l *list) heat(airC, humidityPercent float64) {
	const text = "Take shade, water and breaks, and do not work alone. Confusion or hot dry skin is an emergency."
	feels, warnC, name := airC, 38.0, "The air has"
	if given(airC) && given(humidityPercent) {
		feels, warnC, name = HeatIndex(airC, humidityPercent), 39, "In this damp the air feels like"
	}
	switch {
	case !given(airC):
		l.add("heat_illness", Inform, "Hours in the sun can make ill. "+text)
	case feels >= warnC:
		l.add("heat_illness", Warn, fmt.Sprintf("%s %.0f C in the shade, up to 8 K more in the sun. %s", name, math.Round(feels), text))
	case feels >= 32:
		l.add("heat_illness", Inform, text)
	}
}

func (l *list) eyes(s *Session) {
	bright := s.Ground == "snow" || s.Ground == "sand"
	unknown := !given(s.ElevationDeg) && !given(s.POAWM2)
	if s.ElevationDeg > 45 || bright || s.POAWM2 > 800 || unknown {
		l.add("eyes_and_skin", Inform, "Aim the panel by its shadow and never by a look at the sun. Wear sunglasses, a hat and sunscreen; snow and sand send as much light again from below.")
	}
}

func (l *list) storm(s *Session) {
	cloudy := s.Sky == "broken_cloud" || s.Sky == "overcast"
	if s.Rain || cloudy && !(s.WindMS <= 8) {
		l.add("storm_and_water", Inform, "Stop at the first thunder, and keep plugs and controller dry.")
	}
}
