package engrave

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
)

// instance is one engraver with its own memory. It is used by one goroutine at a
// time. After an error that is a *faultError it must be dropped.
type instance struct {
	module  api.Module
	host    *host
	exports map[string]string // real name -> short name
	toolkit uint64            // address of the one toolkit object

	// interruptible says that the compiled code itself looks at the context. If not, a
	// call that is given up goes on in the background, and running is open until it ends.
	interruptible bool
	running       chan struct{}
}

// faultError says that the engraver broke off: its memory can no longer be trusted.
type faultError struct {
	doing string
	cause error
}

func (e *faultError) Error() string {
	return fmt.Sprintf("the engraver failed to %s: %v", e.doing, e.cause)
}
func (e *faultError) Unwrap() error { return e.cause }

func newInstance(ctx context.Context, rt wazero.Runtime, compiled wazero.CompiledModule, exports map[string]string, interruptible bool) (*instance, error) {
	in := &instance{host: newHost(), exports: exports, interruptible: interruptible}
	module, err := rt.InstantiateModule(in.context(ctx), compiled, wazero.NewModuleConfig().WithName("").WithStartFunctions())
	if err != nil {
		return nil, fmt.Errorf("start the engraver: %w", err)
	}
	in.module = module
	// Starting takes some hundredths of a second: it is not broken off.
	if err := in.boot(context.WithoutCancel(ctx)); err != nil {
		in.close(ctx)
		return nil, err
	}
	return in, nil
}

// boot runs the constructors and makes the toolkit, with warnings kept in a buffer.
func (in *instance) boot(ctx context.Context) error {
	const warnings = 2
	if _, err := in.call(ctx, "start", "wasm_call_ctors"); err != nil {
		return err
	}
	if _, err := in.call(ctx, "start", "enableLog", warnings); err != nil {
		return err
	}
	if _, err := in.call(ctx, "start", "enableLogToBuffer", 1); err != nil {
		return err
	}
	toolkit, err := in.call(ctx, "start", "vrvToolkit_constructor")
	in.toolkit = toolkit
	return err
}

func (in *instance) context(ctx context.Context) context.Context {
	return context.WithValue(ctx, hostKey{}, in.host)
}

// close frees the instance once nothing runs in it any more.
func (in *instance) close(ctx context.Context) {
	if in.running != nil {
		<-in.running
	}
	_ = in.module.Close(context.WithoutCancel(ctx))
}

// memorySize is the size of the instance's memory in bytes.
func (in *instance) memorySize() uint32 { return in.module.Memory().Size() }

// call calls an export by its real name; the result is 0 where there is none.
// doing completes the sentence "the engraver failed to ...".
func (in *instance) call(ctx context.Context, doing, name string, args ...uint64) (uint64, error) {
	f := in.module.ExportedFunction(in.exports[name])
	if f == nil {
		return 0, &faultError{doing, fmt.Errorf("it has no function %s", name)}
	}
	out, err := in.run(ctx, f, args)
	if err != nil {
		return 0, &faultError{doing, in.cause(ctx, err)}
	}
	if len(out) == 0 {
		return 0, nil
	}
	return out[0], nil
}

// run calls f and comes back when it ends or, at the latest, when ctx does.
func (in *instance) run(ctx context.Context, f api.Function, args []uint64) (out []uint64, err error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if in.interruptible || ctx.Done() == nil {
		return f.Call(in.context(ctx), args...)
	}
	type result struct {
		out []uint64
		err error
	}
	done, running := make(chan result, 1), make(chan struct{})
	in.running = running
	go func() {
		defer close(running)
		out, err := f.Call(in.context(ctx), args...)
		done <- result{out, err}
	}()
	select {
	case r := <-done:
		return r.out, r.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// cause finds what lies behind a failed call and says it in one line: a cancelled
// context, a thrown exception, else the trap without its stack.
func (in *instance) cause(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if t, ok := errors.AsType[*thrown](err); ok {
		return t
	}
	line, _, _ := strings.Cut(err.Error(), "\n")
	return errors.New(line)
}

// withText calls an export whose last argument is a text; the text lives on the heap
// for the length of the call, since a score does not fit the engraver's stack.
func (in *instance) withText(ctx context.Context, doing, name, text string, args ...uint64) (uint64, error) {
	p, err := in.call(ctx, doing, "malloc", uint64(len(text)+1))
	if err != nil {
		return 0, err
	}
	if p == 0 {
		return 0, &faultError{doing, errors.New("out of memory")}
	}
	mem := in.module.Memory()
	if !mem.WriteString(uint32(p), text) || !mem.WriteByte(uint32(p)+uint32(len(text)), 0) {
		return 0, &faultError{doing, errors.New("out of memory")}
	}
	out, err := in.call(ctx, doing, name, append(args, p)...)
	if err != nil {
		return 0, err
	}
	_, err = in.call(ctx, doing, "free", p)
	return out, err
}

// text reads a text the engraver returned.
func (in *instance) text(p uint64) string { return cString(in.module.Memory(), uint32(p)) }

func (in *instance) setOptions(ctx context.Context, o map[string]any) error {
	b, err := json.Marshal(o)
	if err != nil {
		return fmt.Errorf("engraver options: %w", err)
	}
	if _, err := in.call(ctx, "reset its options", "vrvToolkit_resetOptions", in.toolkit); err != nil {
		return err
	}
	_, err = in.withText(ctx, "set its options", "vrvToolkit_setOptions", string(b), in.toolkit)
	return err
}

// seed makes the identifiers given from now on a function of the seed alone.
func (in *instance) seed(ctx context.Context, seed int32) error {
	_, err := in.call(ctx, "seed its identifiers", "vrvToolkit_resetXmlIdSeed", in.toolkit, uint64(uint32(seed)))
	return err
}

func (in *instance) load(ctx context.Context, xml string) (bool, error) {
	ok, err := in.withText(ctx, "read the score", "vrvToolkit_loadData", xml, in.toolkit)
	return uint32(ok)&0xff != 0, err
}

// mei gives the score as the engraver read it.
func (in *instance) mei(ctx context.Context) (string, error) {
	p, err := in.withText(ctx, "write down its reading", "vrvToolkit_getMEI", "{}", in.toolkit)
	if err != nil {
		return "", err
	}
	return in.text(p), nil
}

// selectMeasures chooses a range of measures for the next layout; "" chooses all.
func (in *instance) selectMeasures(ctx context.Context, measures string) error {
	selection := ""
	if measures != "" {
		b, _ := json.Marshal(map[string]string{"measureRange": measures}) // a map of strings always encodes
		selection = string(b)
	}
	ok, err := in.withText(ctx, "select measures", "vrvToolkit_select", selection, in.toolkit)
	if err == nil && uint32(ok)&0xff == 0 {
		err = fmt.Errorf("engrave: measures %q cannot be selected", measures)
	}
	return err
}

func (in *instance) redoLayout(ctx context.Context) error {
	_, err := in.withText(ctx, "lay out the score", "vrvToolkit_redoLayout", "{}", in.toolkit)
	return err
}

func (in *instance) pageCount(ctx context.Context) (int, error) {
	n, err := in.call(ctx, "count the pages", "vrvToolkit_getPageCount", in.toolkit)
	return int(int32(n)), err
}

func (in *instance) page(ctx context.Context, n int) (string, error) {
	p, err := in.call(ctx, "draw a page", "vrvToolkit_renderToSVG", in.toolkit, uint64(n), 0)
	if err != nil {
		return "", err
	}
	return in.text(p), nil
}

func (in *instance) timemap(ctx context.Context, options string) ([]byte, error) {
	p, err := in.withText(ctx, "time the score", "vrvToolkit_renderToTimemap", options, in.toolkit)
	if err != nil {
		return nil, err
	}
	return []byte(in.text(p)), nil
}

func (in *instance) midi(ctx context.Context) ([]byte, error) {
	p, err := in.call(ctx, "write MIDI", "vrvToolkit_renderToMIDI", in.toolkit)
	if err != nil {
		return nil, err
	}
	b, err := base64.StdEncoding.DecodeString(in.text(p))
	if err != nil {
		return nil, fmt.Errorf("the engraver's MIDI is not base64: %w", err)
	}
	return b, nil
}

// log gives and empties what the engraver warned of, one warning a line.
func (in *instance) log(ctx context.Context) ([]string, error) {
	p, err := in.call(ctx, "report its warnings", "vrvToolkit_getLog", in.toolkit)
	if err != nil {
		return nil, err
	}
	var lines []string
	for line := range strings.Lines(in.text(p)) {
		if line = strings.TrimSpace(line); line != "" {
			lines = append(lines, line)
		}
	}
	return lines, nil
}
