package main

import (
	"fmt"
	"io"
	"reflect"
	"strings"
)

// help prints all commands and settings.
func help(w io.Writer) {
	fmt.Fprint(w, "evensun serves field tests of portable photovoltaic panels.\n\nCommands:\n")
	for _, c := range commands() {
		fmt.Fprintf(w, "  evensun %s %s\n      %s\n", c.name, c.arguments, c.does)
	}
	fmt.Fprint(w, "\nSettings, read at start; a flag wins over the environment:\n")
	for _, s := range settingsList() {
		fmt.Fprintf(w, "  %s\n      %s\n", s.name, s.help)
	}
}

// setting is one line of the list of settings.
type setting struct{ name, help string }

// settingsList reads the settings from the tags of their fields.
func settingsList() []setting {
	var list []setting
	fields := reflect.TypeFor[settings]()
	for i := range fields.NumField() {
		f := fields.Field(i)
		name := f.Tag.Get("env")
		if name == "-" {
			continue
		}
		text := f.Tag.Get("help")
		if low, high, ok := rangeOf(f); ok {
			text += fmt.Sprintf("; %s to %s", low, high)
		}
		if d := f.Tag.Get("envDefault"); d != "" {
			text += " (" + d + ")"
		}
		list = append(list, setting{envPrefix + strings.TrimSpace(name), text})
	}
	return list
}
