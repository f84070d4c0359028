package web

import (
	"github.com/labstack/echo/v4"
)

// A Rule is one rule as the method page shows it.
type Rule struct {
	ID, Group, Severities, Doubts, Source string
	// FalseAlarm is the share of honest readings on which it fires, Power the share of its
	// fault that it finds; nil: not stated.
	FalseAlarm, Power *float64
}

type methodView struct {
	Frame frameView
	Rules []ruleRow
}

type ruleRow struct{ Name, Group, Does, Doubts, FalseAlarm, Power, Source string }

// method serves how it all is done.
func (s *Site) method(c echo.Context) error {
	v := methodView{Frame: frameView{Title: "Method", Definition: "How readings of many testers become one list.", Demo: s.demo, Menu: menu(choice{})}}
	for _, r := range s.rules {
		v.Rules = append(v.Rules, ruleRow{words(r.ID), r.Group, r.Severities, r.Doubts, shareText(r.FalseAlarm), shareText(r.Power), r.Source})
	}
	return s.render(c, "method.html", v)
}

func shareText(x *float64) string {
	if x == nil {
		return "not stated"
	}
	return form{scale: 100, digits: 2, unit: "%"}.number(*x) + " %"
}

// problemView is a refusal in the frame of the pages.
type problemView struct {
	Frame        frameView
	Detail, Cure string
}

// Problem answers with a page that says what went wrong and leads back.
func (s *Site) Problem(c echo.Context, status int, title, detail, cure string) error {
	return s.renderAs(c, status, "problem.html", problemView{Frame: frameView{Title: title, Definition: detail, Demo: s.demo, Menu: menu(choice{})}, Detail: detail, Cure: cure})
}
