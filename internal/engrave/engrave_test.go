package engrave

import (
	"context"
	"os"
	"sync"
	"testing"
)

var cacheDir = sync.OnceValues(func() (string, error) { return os.MkdirTemp("", "pochette-engrave-test-") })

func TestMain(m *testing.M) {
	code := m.Run()
	if dir, err := cacheDir(); err == nil {
		_ = os.RemoveAll(dir)
	}
	os.Exit(code)
}

// openPool opens a pool that is closed with the test; the tests of one run share a cache.
func openPool(t testing.TB, size int) *Pool {
	t.Helper()
	dir, err := cacheDir()
	if err != nil {
		t.Fatal(err)
	}
	p, err := Open(t.Context(), PoolOptions{Size: size, CacheDir: dir})
	if err != nil {
		t.Fatal(err)
	}
	if err := p.CacheErr(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := p.Close(context.Background()); err != nil {
			t.Error(err)
		}
	})
	return p
}
