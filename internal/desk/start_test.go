package desk_test

import (
	"context"
	"encoding/base64"
	"net"
	"sync"
	"testing"

	"pochette/internal/desk"
)

// startDesk serves a library on this machine until the test ends, and gives the address
// to open, token and all.
func startDesk(t *testing.T, dir string) string {
	t.Helper()
	d, err := desk.Open(desk.Options{Library: dir, Who: "Ottoline Farrow"})
	if err != nil {
		t.Fatal(err)
	}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	wg.Go(func() {
		if err := d.Serve(ctx, ln); err != nil && ctx.Err() == nil {
			t.Errorf("serving: %v", err)
		}
	})
	t.Cleanup(func() {
		stop()
		wg.Wait()
		if err := d.Close(); err != nil {
			t.Errorf("closing the library: %v", err)
		}
	})
	return d.Address(ln.Addr())
}

func fromBase64(t *testing.T, s string) []byte {
	t.Helper()
	b, err := base64.StdEncoding.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}
