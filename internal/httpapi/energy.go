package httpapi

import (
	"context"
	"time"

	"evensun/internal/energy"
	"evensun/internal/fieldtest"

	"github.com/labstack/echo/v4"
)

// GetPanelEnergy answers GET /v1/panel-models/{slug}/energy.
func (s *Server) GetPanelEnergy(c echo.Context, slug Slug, p GetPanelEnergyParams) error {
	if err := azimuthWithoutTilt(p.TiltDeg, p.AzimuthDeg); err != nil {
		return err
	}
	known := energy.Known{LatitudeDeg: p.LatitudeDeg, LongitudeDeg: p.LongitudeDeg, Date: p.Date.Time, TiltDeg: p.TiltDeg, AzimuthDeg: p.AzimuthDeg,
		AltitudeM: p.AltitudeM, Clearness: p.Clearness, LinkeTurbidity: p.LinkeTurbidity, AirC: p.AirTemperatureC, WindMS: p.WindSpeedMS}
	day, err := s.energyOf(c.Request().Context(), slug, &known)
	if err != nil {
		return err
	}
	setAsOf(c, day.ComputedThrough)
	return s.sendJSON(c, day, byContent, cachePublic)
}

// comparedEnergy returns the day of every panel compared, nil where no place and day
// were named.
func (s *Server) comparedEnergy(ctx context.Context, p *ComparePanelsParams) ([]fieldtest.PanelEnergy, error) {
	asked, err := energyAsked(p)
	if err != nil || !asked {
		return nil, err
	}
	known := energy.Known{LatitudeDeg: *p.LatitudeDeg, LongitudeDeg: *p.LongitudeDeg, Date: p.Date.Time, TiltDeg: p.TiltDeg, AzimuthDeg: p.AzimuthDeg,
		AltitudeM: p.AltitudeM, Clearness: p.Clearness, LinkeTurbidity: p.LinkeTurbidity, AirC: p.AirTemperatureC, WindMS: p.WindSpeedMS}
	days := make([]fieldtest.PanelEnergy, 0, len(p.Models))
	for _, slug := range p.Models {
		day, err := s.energyOf(ctx, slug, &known)
		if err != nil {
			return nil, err
		}
		days = append(days, day)
	}
	return days, nil
}

// energyAsked tells whether a comparison names a day. What is said of a day without its
// place, or of a place without a day, is refused: it would be left out of the answer
// without a word.
func energyAsked(p *ComparePanelsParams) (bool, error) {
	if err := azimuthWithoutTilt(p.TiltDeg, p.AzimuthDeg); err != nil {
		return false, err
	}
	whole := p.LatitudeDeg != nil && p.LongitudeDeg != nil && p.Date != nil
	for _, given := range []struct {
		name string
		is   bool
	}{
		{"latitude_deg", p.LatitudeDeg != nil}, {"longitude_deg", p.LongitudeDeg != nil}, {"date", p.Date != nil}, {"tilt_deg", p.TiltDeg != nil},
		{"altitude_m", p.AltitudeM != nil}, {"clearness", p.Clearness != nil}, {"linke_turbidity", p.LinkeTurbidity != nil},
		{"air_temperature_c", p.AirTemperatureC != nil}, {"wind_speed_m_s", p.WindSpeedMS != nil},
	} {
		if given.is && !whole {
			return false, notHere(given.name, "The energy of a day needs latitude_deg, longitude_deg and date together.")
		}
	}
	return whole, nil
}

func azimuthWithoutTilt(tilt, azimuth *float64) error {
	if azimuth != nil && tilt == nil {
		return notHere("azimuth_deg", "An azimuth needs a tilt_deg.")
	}
	return nil
}

// energyOf computes the day of one panel model.
func (s *Server) energyOf(ctx context.Context, slug string, known *energy.Known) (fieldtest.PanelEnergy, error) {
	if y := known.Date.Year(); y < firstYear || y > lastYear {
		return fieldtest.PanelEnergy{}, &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "A parameter of the request is not right.",
			Faults: []fieldtest.Fault{{Parameter: "date", Code: "out_of_range", Value: known.Date.Format(time.DateOnly), Reason: "Days from 1950 to 2100 are computed."}}}
	}
	m, err := s.cfg.Store.PanelModel(ctx, slug)
	if err != nil {
		return fieldtest.PanelEnergy{}, err
	}
	results, err := s.cfg.Results.PanelResults(ctx, slug)
	if err != nil {
		return fieldtest.PanelEnergy{}, err
	}
	day, ok := energy.Report(known, &m.PanelModel, &results)
	if !ok {
		return day, fieldtest.Missing("power of the panel model", slug)
	}
	return day, nil
}

// The sun's place is sure to 0.01 deg in these years (package sun).
const (
	firstYear = 1950
	lastYear  = 2100
)
