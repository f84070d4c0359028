package audit

import (
	"fmt"
	"math"

	"evensun/internal/fieldtest"
)

// offBy is a logarithmic deviation in words, as "6.1 %".
func offBy(delta float64) string {
	return fmt.Sprintf("%.3g %%", math.Abs(100*math.Expm1(delta)))
}

func direction(delta float64) string {
	if delta < 0 {
		return "lower"
	}
	return "higher"
}

// slip names the mistake that a factor looks like, empty if none.
func slip(delta float64) string {
	const near = 0.06 // of the logarithm (common practice, no source)
	for _, s := range []struct {
		factor float64
		text   string
	}{
		{10, "The factor is close to 10: likely a misplaced decimal point."},
		{0.1, "The factor is close to 1/10: likely a misplaced decimal point."},
		{2, "The factor is close to 2: likely two panels were joined, or a reading counted twice."},
		{0.5, "The factor is close to 1/2: likely one of two sections was shaded, folded or not connected."},
		{0.75, "The factor is close to 3/4: likely one of four sections was shaded or not connected."},
		{2.0 / 3, "The factor is close to 2/3: likely one of three sections was shaded or not connected."},
	} {
		if math.Abs(delta-math.Log(s.factor)) < near {
			return s.text
		}
	}
	return ""
}

// lying says how the panels of a fit lay, empty for tilted ones, as ", flat on the ground".
func (v *view) lying(before string) string {
	arrangement, class := v.Arrangement()
	if arrangement == fieldtest.Tilted {
		return ""
	}
	return before + lay(arrangement, &class)
}

func (v *view) panelLying(slug string) string { return slug + v.lying(" ") }

func (v *view) readingReason(d *doubt, cell int) string {
	text := fmt.Sprintf("This reading%s is %s %s than its repeats in the session say.", v.lying(", "), offBy(d.delta), direction(d.delta))
	if cell == 2 {
		text = fmt.Sprintf("The two readings of this panel in the session differ by %s; nothing tells which one is wrong.", offBy(d.delta))
	}
	if s := slip(d.delta); s != "" {
		return text + " " + s
	}
	return text + " Likely a mistyped value or a passing cloud."
}

func (v *view) cellReason(d *doubt) string {
	text := fmt.Sprintf("%s reads %s %s than its other sessions and the other panels of this session say.", v.panelLying(*d.panel), offBy(d.delta), direction(d.delta))
	if s := slip(d.delta); s != "" {
		return text + " " + s
	}
	if d.delta < 0 {
		return text + " The session as a whole fits: likely a shaded, dirty, badly aimed or mislabelled panel, or a mistyped value."
	}
	return text + " The session as a whole fits: likely a mislabelled panel or a mistyped value."
}

func (v *view) sessionReason(d *doubt, rows []int) string {
	if v.distinct(rows, panelCode) == 1 {
		return fmt.Sprintf("The only panel of this session reads %s %s than expected. Panel and hour cannot be told apart: irradiance, time zone, label and panel all come into question.", offBy(d.delta), direction(d.delta))
	}
	text := fmt.Sprintf("All panels of this session%s are about %s %s than expected, while they fit each other.", v.lying(", "), offBy(d.delta), direction(d.delta))
	if v.Rows[rows[0]].Observation.Result.IrradianceOrigin == fieldtest.OriginClearSky {
		return text + " The irradiance was assumed from a clear sky: likely haze or cloud, the wrong place or the wrong time zone."
	}
	return text + " Likely the irradiance meter, its aim, or the time zone."
}

func (v *view) opinionReason(d *doubt) string {
	text := fmt.Sprintf("Over %v sessions this tester finds %s %s %s than all others do.", d.basis["sessions"], v.panelLying(*d.panel), offBy(d.delta), direction(d.delta))
	if d.delta < 0 {
		return text + " Likely a faulty or worn unit, a bad connector, or the wrong nameplate."
	}
	return text + " Likely another variant of the model, or the wrong nameplate."
}
