package httpapi

import "github.com/labstack/echo/v4"

// Suggest answers GET /v1/suggestions.
func (s *Server) Suggest(c echo.Context, params SuggestParams) error {
	ctx := c.Request().Context()
	models := wordsOf(params.Models)
	for _, slug := range models {
		if _, err := s.cfg.Store.PanelModel(ctx, slug); err != nil {
			return err
		}
	}
	r, err := s.cfg.Suggest.Suggest(ctx, params.Lat, params.Lon, models)
	if err != nil {
		return err
	}
	r.Items, r.GoodHours = orEmpty(r.Items), orEmpty(r.GoodHours)
	return s.sendJSON(c, r, byContent, cachePublic)
}
