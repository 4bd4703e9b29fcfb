package engrave

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"sync"

	"github.com/tetratelabs/wazero"

	"pochette/internal/engrave/wasm"
)

// PoolOptions are the choices of Open.
type PoolOptions struct {
	// Size is the largest number of engravers at work at once; 0 means one for each
	// processor. Each reserves from 128 MB to, while a very long score is in it, 1 GB.
	Size int
	// CacheDir is the folder that keeps the compiled engraver between runs; "" keeps
	// nothing, and each Open then compiles for some seconds. See DefaultCacheDir.
	CacheDir string
	// Interruptible makes a cancelled context stop the engraver inside a call. It then
	// runs two to three times slower, since the compiled code looks at every turn of a
	// loop whether to go on. Without it a cancelled call returns at once as well, but the
	// engraver works on in the background, keeps its place in the pool until it is done,
	// and is dropped then.
	Interruptible bool
}

// DefaultCacheDir is the folder "pochette/engraver" in the user's own cache folder, or
// "" where the system names none.
func DefaultCacheDir() string {
	dir, err := os.UserCacheDir()
	if err != nil {
		return ""
	}
	return filepath.Join(dir, "pochette", "engraver")
}

const (
	// memoryLimit bounds what one score can take, in pages of 64 KiB: 1 GiB.
	memoryLimit = 16384
	// keepLimit is the memory above which an engraver is dropped after use rather than
	// kept, since WebAssembly memory never shrinks.
	keepLimit = 256 << 20
)

// ErrClosed is returned by every use of a Pool or Session after its Close.
var ErrClosed = errors.New("engrave: the engraver is closed")

// Pool holds up to a number of engravers, made when first needed. It is safe for
// concurrent use. An engraver that faults (throws, traps, is cancelled) is dropped,
// and a fresh one takes its place: one bad score never reaches the next.
type Pool struct {
	runtime  wazero.Runtime
	cache    wazero.CompilationCache
	compiled wazero.CompiledModule
	exports  map[string]string
	cacheErr error
	options  PoolOptions

	seats chan struct{} // one token for each engraver in use
	gone  chan struct{} // closed by Close

	mu     sync.Mutex
	idle   []*instance
	closed bool
}

// Open unpacks and compiles the engraver, or takes it compiled from the cache folder.
// A cache folder that cannot be used is no error: see CacheErr.
func Open(ctx context.Context, o PoolOptions) (*Pool, error) {
	if o.Size <= 0 {
		o.Size = runtime.GOMAXPROCS(0)
	}
	module, err := wasm.Module()
	if err != nil {
		return nil, err
	}
	imports, exports, err := wasm.Names()
	if err != nil {
		return nil, err
	}
	p := &Pool{exports: exports, options: o, seats: make(chan struct{}, o.Size), gone: make(chan struct{})}
	if o.CacheDir != "" {
		if p.cacheErr = p.compile(ctx, module, o, o.CacheDir); p.cacheErr != nil {
			p.cacheErr = fmt.Errorf("the engraver's cache folder %s cannot be used: %w", o.CacheDir, p.cacheErr)
		}
	}
	if p.runtime == nil {
		if err := p.compile(ctx, module, o, ""); err != nil {
			return nil, fmt.Errorf("compile the engraver: %w", err)
		}
	}
	if err := linkHost(ctx, p.runtime, p.compiled, imports); err != nil {
		_ = p.shut(ctx)
		return nil, fmt.Errorf("link the engraver: %w", err)
	}
	return p, nil
}

// CacheErr says why the cache folder given to Open could not be used; nil if it could.
func (p *Pool) CacheErr() error { return p.cacheErr }

// compile sets runtime, cache and compiled, or leaves them nil and says why.
func (p *Pool) compile(ctx context.Context, module []byte, o PoolOptions, cacheDir string) (err error) {
	config := wazero.NewRuntimeConfig().WithMemoryLimitPages(memoryLimit).WithCloseOnContextDone(o.Interruptible).WithDebugInfoEnabled(false)
	if cacheDir != "" {
		if p.cache, err = wazero.NewCompilationCacheWithDir(cacheDir); err != nil {
			p.cache = nil
			return err
		}
		config = config.WithCompilationCache(p.cache)
	}
	p.runtime = wazero.NewRuntimeWithConfig(ctx, config)
	if p.compiled, err = p.runtime.CompileModule(ctx, module); err != nil {
		_ = p.shut(ctx)
		p.runtime, p.cache = nil, nil
	}
	return err
}

func (p *Pool) shut(ctx context.Context) error {
	err := p.runtime.Close(ctx)
	if p.cache != nil {
		err = errors.Join(err, p.cache.Close(ctx))
	}
	return err
}

// Close waits for the engravers in use, then frees everything; if ctx ends first it
// returns, and frees them when they are done. Uses that wait for an engraver and all
// later ones fail with ErrClosed. Close every Session before.
func (p *Pool) Close(ctx context.Context) error {
	p.mu.Lock()
	if p.closed {
		p.mu.Unlock()
		return nil
	}
	p.closed = true
	close(p.gone)
	p.mu.Unlock()
	done := make(chan error, 1)
	go func() {
		for range cap(p.seats) { // nothing is freed under an engraver at work
			p.seats <- struct{}{}
		}
		done <- p.shut(context.WithoutCancel(ctx))
	}()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// usable says why nothing may be begun: the caller has given up or the pool is closed.
func (p *Pool) usable(ctx context.Context) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	select {
	case <-p.gone:
		return ErrClosed
	default:
		return nil
	}
}

// take waits for a seat and gives an idle engraver or a new one.
func (p *Pool) take(ctx context.Context) (*instance, error) {
	if err := p.usable(ctx); err != nil {
		return nil, err
	}
	select {
	case p.seats <- struct{}{}:
	case <-p.gone:
		return nil, ErrClosed
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
	return p.seated(ctx)
}

// takeFree is take without the waiting: nil where every seat is taken.
func (p *Pool) takeFree(ctx context.Context) (*instance, error) {
	if err := p.usable(ctx); err != nil {
		return nil, err
	}
	select {
	case p.seats <- struct{}{}:
		return p.seated(ctx)
	default:
		return nil, nil
	}
}

// seated gives an engraver for a seat just taken.
func (p *Pool) seated(ctx context.Context) (*instance, error) {
	p.mu.Lock()
	if n := len(p.idle); n > 0 {
		in := p.idle[n-1]
		p.idle = p.idle[:n-1]
		p.mu.Unlock()
		return in, nil
	}
	p.mu.Unlock()
	in, err := newInstance(ctx, p.runtime, p.compiled, p.exports, p.options.Interruptible)
	if err != nil {
		<-p.seats
		return nil, err
	}
	return in, nil
}

// give returns an engraver, to be kept if it is sound and not swollen.
func (p *Pool) give(ctx context.Context, in *instance, sound bool) {
	if sound && in.memorySize() <= keepLimit {
		p.mu.Lock()
		p.idle = append(p.idle, in)
		p.mu.Unlock()
		<-p.seats
		return
	}
	go func() { // a call that was given up may still run
		in.close(ctx)
		<-p.seats
	}()
}
