package energy

import (
	"time"

	"evensun/internal/celltemp"
	"evensun/internal/sky"
	"evensun/internal/sun"
)

const (
	step          = 10 * time.Minute
	stepH         = 1.0 / 6
	lowestSunDeg  = 2.0 // the sky models hold for z_app < 88 deg
	turnEvery     = 2 * time.Hour
	trackerShare  = 0.995 // of the maximum, in steady sun
	overcastShare = 0.25  // of the clear sky's light; Kasten and Czeplak 1980, eight eighths of cloud
)

// A Placement says how the panel lies during the day.
type Placement string

// The placements.
const (
	Tilted Placement = "tilted" // propped up all day in one plane
	Flat   Placement = "flat"   // on the ground
	Turned Placement = "turned" // to where the sun stands, from sunrise on every two hours
)

// Placements returns all of them in their order.
func Placements() []Placement { return []Placement{Tilted, Flat, Turned} }

// inputs are all numbers that the yield of a day follows from. The interval moves one
// at a time.
type inputs struct {
	linke     float64
	clearness float64 // of the typical day
	even      float64 // share of the evenly hazy day in the typical one, 0 to 1
	airC      float64
	windMS    float64
	heatK     float64 // error of the cells' temperature at 1000 W/m2
	ground    float64 // where between open air (0) and no air (1) behind it a flat panel stands
	tiltDeg   float64 // error of each plane
	turnDeg   float64 // error of its azimuth
	gammaPerK float64
	lowLight  float64 // of ln P by ln(G/1000), beside the usual curve
	rear      float64 // bifaciality times the share of the estimate that reaches the rear
	albedo    float64
}

// A moment is one instant of the day with the sun high enough.
type moment struct {
	at     time.Time
	angles sun.Angles
	sun    sky.Sun
}

// A day is what all sums of one day share.
type day struct {
	place   sky.Site
	moments []moment
	aims    map[Placement][]aim
}

// newDay finds the moments of a solar day.
func newDay(site *Site, events sun.Day) *day {
	from := events.Noon.Add(-12 * time.Hour)
	d := &day{place: sky.NewSite(site.LatitudeDeg, site.AltitudeM), aims: map[Placement][]aim{}}
	track := sun.NewTrack(site.observer(), from, from.Add(24*time.Hour))
	for at := from; at.Before(from.Add(24 * time.Hour)); at = at.Add(step) {
		angles := track.At(at)
		if angles.ElevationDeg() > lowestSunDeg {
			d.moments = append(d.moments, moment{at, angles, sky.NewSun(angles, track.ExtraterrestrialWM2(at), &d.place)})
		}
	}
	return d
}

// An aim is where a panel points.
type aim struct{ tiltDeg, azimuthDeg float64 }

// aims returns where the panel points at each moment.
func aims(p Placement, tilted aim, all []moment) []aim {
	out := make([]aim, len(all))
	for i := range all {
		switch p {
		case Tilted:
			out[i] = tilted
		case Turned:
			out[i] = towards(all[i].angles)
			if i > 0 && all[i].at.Sub(all[0].at)%turnEvery != 0 {
				out[i] = out[i-1]
			}
		}
	}
	return out
}

// towards is the plane that faces the sun.
func towards(a sun.Angles) aim { return aim{90 - a.ElevationDeg(), a.AzimuthDeg} }

// A sum is what a day brings: light on the plane and on the cells in Wh/m2, and the
// yield of one watt at standard test conditions in Wh.
type sum struct{ poaWhM2, yieldWh float64 }

func (s sum) plus(other sum, share float64) sum {
	return sum{s.poaWhM2 + share*other.poaWhM2, s.yieldWh + share*other.yieldWh}
}

// both are the sums of the two skies.
type both struct{ clear, typical sum }

// a horizontal is the light of a whole day on the level, Wh/m2.
type horizontal struct{ clear, above float64 }

func (d *day) horizontal(in *inputs) horizontal {
	var h horizontal
	for i := range d.moments {
		m := &d.moments[i]
		h.clear += stepH * sky.ClearSky(&d.place, &m.sun, in.linke).GHIWM2
		h.above += stepH * m.sun.ExtraterrestrialWM2 * max(0, m.sun.Up)
	}
	return h
}

// brightness is the light of the typical day over that of the clear one, at most 1.
func (h horizontal) brightness(clearness float64) float64 {
	if !(h.clear > 0) {
		return 0
	}
	return max(0, min(1, clearness*h.above/h.clear))
}

// sums adds up a day for one placement.
func (d *day) sums(p Placement, in *inputs) both {
	bright := d.horizontal(in).brightness(in.clearness)
	clouded := min(bright, overcastShare)
	sunny := sunnyShare(bright)
	var clear, hazy, overcast sum
	var plane sky.Plane
	for i := range d.moments {
		m := &d.moments[i]
		if a := d.aims[p][i]; i == 0 || a != d.aims[p][i-1] {
			plane = sky.NewPlane(a.tiltDeg+in.tiltDeg, a.azimuthDeg+in.turnDeg, sky.CleanGlass)
		}
		scene := sky.Scene{Site: d.place, Sun: m.sun, Plane: plane, LinkeTurbidity: in.linke, GroundAlbedo: in.albedo}
		light := sky.ClearSkyPlane(&scene)
		clear = clear.plus(in.yield(p, light.GHIWM2, light.POAWM2(), light.EffectiveWM2, &plane), stepH)
		hazy = hazy.plus(in.dimmed(p, &light, &scene, bright), stepH)
		overcast = overcast.plus(in.dimmed(p, &light, &scene, clouded), stepH)
	}
	parted := sum{}.plus(clear, sunny).plus(overcast, 1-sunny)
	return both{clear: clear, typical: sum{}.plus(hazy, in.even).plus(parted, 1-in.even)}
}

// sunnyShare is the part of the time that is clear on a day of clear and overcast hours
// that is as bright as another over all.
func sunnyShare(brightness float64) float64 {
	return max(0, (brightness-overcastShare)/(1-overcastShare))
}

// dimmed is the yield under a sky that lets a share of the clear sky's light through.
func (in *inputs) dimmed(p Placement, clear *sky.Light, scene *sky.Scene, share float64) sum {
	split := sky.Erbs(share*clear.GHIWM2, &scene.Sun)
	on := sky.HayDavies(split.Horizontal, &scene.Sun, &scene.Plane, scene.GroundAlbedo)
	return in.yield(p, split.GHIWM2, on.POAWM2(), clear.Modifier.Effective(on), &scene.Plane)
}

// yield is what light makes of one watt, by the equation of the package.
func (in *inputs) yield(p Placement, ghiWM2, poaWM2, frontWM2 float64, plane *sky.Plane) sum {
	effective := frontWM2
	if p != Flat && in.rear > 0 {
		effective = sky.EquivalentIrradiance(frontWM2, sky.RearEstimate(ghiWM2, plane, in.albedo, sky.SelfShade), in.rear)
	}
	if !(effective > 0) {
		return sum{}
	}
	heat := 1 + in.gammaPerK*(in.cellC(p, poaWM2)-25)
	return sum{poaWM2, trackerShare * effective / 1000 * max(0, heat) * in.efficiency(effective)}
}

// cellC is the temperature of the cells: air behind a panel that stands, little behind
// one that lies.
func (in *inputs) cellC(p Placement, poaWM2 float64) float64 {
	off := in.heatK * poaWM2 / 1000
	if p != Flat {
		return celltemp.King(poaWM2, in.airC, in.windMS, celltemp.OpenRackPolymer()).CellC + off
	}
	bounds := celltemp.FlatBounds(poaWM2, in.airC, in.windMS)
	return bounds.CoolC + in.ground*(bounds.HotC-bounds.CoolC) + off
}
