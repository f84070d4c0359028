// Package fieldtest holds the words of field testing photovoltaic panels: tester,
// rig, panel model, specimen, session, reading, result, finding, verdict, measure
// and ranking. They are the nouns that every other package speaks with.
//
// The types carry their JSON names because a submitted document, a stored row and
// an answer use the same words: one quantity has one name everywhere, with its
// unit in it (power_w, tilt_deg, gamma_pmax_per_k). A nil pointer means "not
// given"; a document's null means the same.
//
// There is no algorithm here, only what belongs to a word itself: which values an
// enumeration has and what a default is. What physics allows is decided in package
// limits, what a document may look like in api/openapi.yaml.
//
// Imports nothing of evensun.
package fieldtest
