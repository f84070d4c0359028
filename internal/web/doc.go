// Package web serves the pages for people: rendered on the server, readable without
// script, from the same reads as the API. Nothing is loaded from elsewhere, and no
// cookie is set.
//
// A page shows what the API says and nothing more: a rank never without its interval,
// a plot never without the same numbers in a table beside it.
package web
