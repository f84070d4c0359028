package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"net/netip"
	"net/url"
	"os"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/caarlos0/env/v11"
)

// settings are read at start only: flags over environment over defaults. The tags
// are the one list of them: `evensun help` prints it.
type settings struct {
	DatabaseURL   string        `env:"DATABASE_URL" help:"PostgreSQL to use; empty: start one from installed server programs"`
	Addr          string        `env:"ADDR" envDefault:"127.0.0.1:8080" help:"address to listen on"`
	DataDir       string        `env:"DATA_DIR" help:"folder of the own PostgreSQL; empty: the system's place for program data"`
	PGBin         string        `env:"PG_BIN" help:"folder with initdb and postgres; empty: the usual places"`
	Registration  string        `env:"REGISTRATION" envDefault:"invite" help:"who may register testers: open (everybody), invite (operators) or closed (nobody; keys create does)"`
	BaseURL       string        `env:"BASE_URL" help:"public URL for links, as https://evensun.example; empty: the listening address"`
	Proxies       []string      `env:"TRUSTED_PROXIES" help:"networks of proxies whose X-Forwarded-For and X-Request-Id are believed, as 10.0.0.0/8,::1/128; empty: none"`
	OperatorKey   string        `env:"OPERATOR_KEY" help:"a key of 32 characters or more that acts as operator"`
	WritesPerMin  int           `env:"WRITES_PER_MINUTE" envDefault:"120" range:"0 1000000" help:"writes a minute and key; 0: no limit"`
	ReadsPerMin   int           `env:"READS_PER_MINUTE" envDefault:"600" range:"0 1000000" help:"reads a minute and key; 0: no limit"`
	AnonPerMin    int           `env:"ANONYMOUS_PER_MINUTE" envDefault:"60" range:"0 1000000" help:"reads a minute and address without a key; 0: no limit"`
	DryRunsPerMin int           `env:"DRY_RUNS_PER_MINUTE" envDefault:"10" range:"0 1000000" help:"dry runs a minute and address without a key; 0: no limit"`
	DrainFor      time.Duration `env:"DRAIN_FOR" envDefault:"5s" range:"0s 10m" help:"told to stop by SIGTERM, how long /readyz says 503 before the listener closes; ^C or a second signal stops at once"`
	UnsafeDB      bool          `env:"ALLOW_UNSAFE_DATABASE" help:"start although the database may lose acknowledged writes"`
	QueryMode     string        `env:"QUERY_MODE" envDefault:"cache_statement" help:"pgx query mode: cache_statement, or exec behind a transaction pooler"`

	Demo bool `env:"-"`
}

const envPrefix = "EVENSUN_"

// serveSettings reads the environment and the flags of serve.
func serveSettings(stderr io.Writer, args []string) (settings, error) {
	flags := flag.NewFlagSet("serve", flag.ContinueOnError)
	addr := flags.String("addr", "", "address to listen on")
	demo := flags.Bool("demo", false, "fill an empty database with the demonstration")
	s, rest, err := settingsAnd(flags, stderr, args)
	if err != nil {
		return s, err
	}
	if len(rest) > 0 {
		return s, &misuse{fmt.Sprintf("takes no argument %q", rest[0])}
	}
	s.Demo = *demo
	if *addr != "" {
		s.Addr = *addr
	}
	return s, nil
}

// settingsAnd reads the environment, the flags of a command on a database, and the
// arguments that are left.
func settingsAnd(flags *flag.FlagSet, stderr io.Writer, args []string) (settings, []string, error) {
	url := flags.String("database", "", "PostgreSQL URL")
	folder := flags.String("data-dir", "", "folder of the own PostgreSQL")
	rest, err := intermixed(flags, stderr, args)
	if err != nil {
		return settings{}, nil, err
	}
	for _, name := range strangers(os.Environ()) {
		fmt.Fprintf(stderr, "%s is no setting of evensun and does nothing; evensun help lists them\n", name)
	}
	s, err := environment()
	if *url != "" {
		s.DatabaseURL = *url
	}
	if *folder != "" {
		s.DataDir = *folder
	}
	return s, rest, err
}

// strangers returns the variables of an environment that look like settings and are none:
// most likely mistyped.
func strangers(environment []string) []string {
	known := map[string]bool{}
	for _, s := range settingsList() {
		known[s.name] = true
	}
	var all []string
	for _, pair := range environment {
		name, _, _ := strings.Cut(pair, "=")
		if strings.HasPrefix(name, envPrefix) && !strings.HasPrefix(name, envPrefix+"TEST_") && !known[name] {
			all = append(all, name)
		}
	}
	return all
}

// environment reads the settings of the environment.
func environment() (settings, error) {
	var s settings
	err := env.ParseWithOptions(&s, env.Options{Prefix: envPrefix})
	if err := errors.Join(unparsed(err), outOfRange(s)); err != nil {
		return s, err
	}
	if s.OperatorKey != "" && len(s.OperatorKey) < 32 {
		return s, fmt.Errorf("%sOPERATOR_KEY has %d characters, needs 32 or more", envPrefix, len(s.OperatorKey))
	}
	switch s.Registration {
	case "open", "invite", "closed":
	default:
		return s, fmt.Errorf("%sREGISTRATION is %q, must be open, invite or closed", envPrefix, s.Registration)
	}
	switch s.QueryMode {
	case "cache_statement", "exec":
	default:
		return s, fmt.Errorf("%sQUERY_MODE is %q, must be cache_statement or exec", envPrefix, s.QueryMode)
	}
	if _, err := s.trustedProxies(); err != nil {
		return s, err
	}
	s.BaseURL, err = baseURL(s.BaseURL)
	return s, err
}

// trustedProxies returns the networks of the proxies before the service.
func (s settings) trustedProxies() ([]netip.Prefix, error) {
	var all []netip.Prefix
	for _, text := range s.Proxies {
		p, err := netip.ParsePrefix(text)
		if err != nil {
			return nil, fmt.Errorf("%sTRUSTED_PROXIES holds %q, must be a network, as 10.0.0.0/8", envPrefix, text)
		}
		all = append(all, p)
	}
	return all, nil
}

// baseURL returns a public URL without the slash at its end. Links are it and a path, so
// it has neither path nor query of its own.
func baseURL(text string) (string, error) {
	if text == "" {
		return "", nil
	}
	text = strings.TrimSuffix(text, "/")
	u, err := url.Parse(text)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.User != nil || text != u.Scheme+"://"+u.Host {
		return "", fmt.Errorf("%sBASE_URL is %q, must be as https://evensun.example, without a path", envPrefix, text)
	}
	return text, nil
}

// unparsed tells which settings are no numbers, times or truth values, by their own names:
// the library names the fields.
func unparsed(err error) error {
	if err == nil {
		return nil
	}
	all, ok := errors.AsType[env.AggregateError](err)
	if !ok {
		return fmt.Errorf("settings: %w", err)
	}
	var told []error
	for _, one := range all.Errors {
		bad, ok := errors.AsType[env.ParseError](one)
		field, known := reflect.TypeFor[settings]().FieldByName(bad.Name)
		if !ok || !known {
			told = append(told, fmt.Errorf("settings: %w", one))
			continue
		}
		told = append(told, notAllowed(field, os.Getenv(envPrefix+field.Tag.Get("env"))))
	}
	return errors.Join(told...)
}

// outOfRange tells which settings are outside the range of their tags.
func outOfRange(s settings) error {
	var told []error
	fields := reflect.ValueOf(s)
	for i := range fields.NumField() {
		field := fields.Type().Field(i)
		low, high, ok := rangeOf(field)
		if !ok {
			continue
		}
		if x := fields.Field(i).Int(); x < amount(field.Type, low) || x > amount(field.Type, high) {
			told = append(told, notAllowed(field, fmt.Sprint(fields.Field(i).Interface())))
		}
	}
	return errors.Join(told...)
}

// rangeOf returns the ends of what a setting may be, where its tag states them.
func rangeOf(field reflect.StructField) (low, high string, ok bool) {
	return strings.Cut(field.Tag.Get("range"), " ")
}

// amount reads one end of a range, which a test does for all of them.
func amount(of reflect.Type, text string) int64 {
	if of == reflect.TypeFor[time.Duration]() {
		d, _ := time.ParseDuration(text)
		return int64(d)
	}
	n, _ := strconv.ParseInt(text, 10, 64)
	return n
}

// notAllowed names a setting, its value and what is allowed.
func notAllowed(field reflect.StructField, value string) error {
	what := "true or false"
	if low, high, ok := rangeOf(field); ok {
		what = fmt.Sprintf("a whole number from %s to %s", low, high)
		if field.Type == reflect.TypeFor[time.Duration]() {
			what = fmt.Sprintf("a time from %s to %s, as 5s", low, high)
		}
	}
	return fmt.Errorf("%s%s is %q, must be %s", envPrefix, field.Tag.Get("env"), value, what)
}
