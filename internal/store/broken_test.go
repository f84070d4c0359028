package store_test

import (
	"errors"
	"io"
	"net"
	"net/url"
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

// A read whose connection breaks, wherever in the answer, is refused as something to try
// again, never as an error of ours.
func TestABrokenConnectionIsARefusal(t *testing.T) {
	t.Parallel()
	link := storetest.URL(t)
	w := worldOn(t, storetest.Open(t, link))
	s := w.session(t, 5)
	w.save(t, s)
	broken := 0
	for cut := int64(500); cut < 12000; cut += 700 {
		db, err := store.Open(t.Context(), throughCut(t, link, cut), store.Options{AllowUnsafe: true, Migrated: true, MaxConns: 1})
		if err != nil {
			continue // cut before it was open
		}
		for range 3 {
			_, err = db.Session(t.Context(), s.ID)
			if err == nil {
				_, _, _, err = db.Readings(t.Context(), store.ReadingFilter{}, store.Page{})
			}
			if err == nil {
				continue
			}
			broken++
			if r, ok := errors.AsType[*fieldtest.Refusal](err); !ok || r.Kind != fieldtest.Overloaded && r.Kind != fieldtest.ReadOnly {
				t.Errorf("cut after %d bytes: %v, want a refusal to try again", cut, err)
			}
		}
		db.Close()
	}
	if broken == 0 {
		t.Error("no read was cut")
	}
}

// throughCut returns an address that leads to the same server and closes each connection
// after so many bytes of its answers.
func throughCut(t *testing.T, link string, after int64) string {
	t.Helper()
	u, err := url.Parse(link)
	if err != nil {
		t.Fatal(err)
	}
	socket := u.Query().Get("host") + "/.s.PGSQL.5432"
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { listener.Close() })
	go func() {
		for {
			client, err := listener.Accept()
			if err != nil {
				return
			}
			go relay(client, socket, after)
		}
	}()
	u.Host, u.RawQuery = listener.Addr().String(), "sslmode=disable"
	return u.String()
}

func relay(client net.Conn, socket string, after int64) {
	defer client.Close()
	server, err := net.Dial("unix", socket)
	if err != nil {
		return
	}
	defer server.Close()
	go func() { _, _ = io.Copy(server, client) }() // ends with either
	_, _ = io.CopyN(client, server, after)
}
