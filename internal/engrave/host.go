package engrave

import (
	"context"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"strings"
	"time"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
)

// host is what one instance sees of the world: its own read-only files, a clock
// that stands still, random numbers that always come in the same order, and a
// place to complain. Nothing outside the sandbox can be reached, and the same
// input gives the same bytes.
type host struct {
	files  memFS
	random *rand.ChaCha8
	stderr strings.Builder
}

func newHost() *host {
	return &host{files: newMemFS(), random: rand.NewChaCha8([32]byte{})}
}

// say keeps what the engraver writes to its standard output and error, up to a limit.
func (h *host) say(text string) {
	const limit = 4096
	if room := limit - h.stderr.Len(); room > 0 {
		h.stderr.WriteString(text[:min(room, len(text))])
	}
}

type hostKey struct{}

func hostOf(ctx context.Context) *host { return ctx.Value(hostKey{}).(*host) }

// thrown is a C++ exception, a failed assertion or an exit inside the engraver. The
// build catches none of them, so the instance cannot be used afterwards.
type thrown struct{ what string }

func (t *thrown) Error() string { return t.what }

// hostFunc is one import: arguments in args, the result (if any) in args[0].
type hostFunc func(h *host, m api.Module, args []uint64)

// Error numbers of the build's C library (those of WASI).
const (
	errBadFile   = 8
	errInvalid   = 28
	errIsFolder  = 31
	errNoEntry   = 44
	errNoTTY     = 59
	errNotFolder = 54
	errReadOnly  = 69
)

// hostFuncs are the imports by their real names.
var hostFuncs = map[string]hostFunc{
	"cxa_throw": func(_ *host, m api.Module, a []uint64) {
		panic(&thrown{describeException(m.Memory(), uint32(a[0]), uint32(a[1]))})
	},
	"assert_fail": func(_ *host, m api.Module, a []uint64) {
		panic(&thrown{fmt.Sprintf("assertion %q failed", cString(m.Memory(), uint32(a[0])))})
	},
	"abort_js": func(*host, api.Module, []uint64) { panic(&thrown{"it gave up (abort)"}) },
	"exit": func(_ *host, _ api.Module, a []uint64) {
		panic(&thrown{fmt.Sprintf("it ended itself with status %d", int32(a[0]))})
	},
	"emscripten_fs_load_embedded_files": func(h *host, m api.Module, a []uint64) {
		h.files.addEmbedded(m.Memory(), uint32(a[0]))
	},
	"emscripten_resize_heap": resizeHeap,
	// A standing clock: the date is no part of a score.
	"emscripten_date_now": func(_ *host, _ api.Module, a []uint64) { a[0] = api.EncodeF64(0) },
	"localtime_js": func(_ *host, m api.Module, a []uint64) {
		writeBrokenDownTime(m.Memory(), uint32(a[1]), time.Unix(int64(a[0]), 0).UTC())
	},
	"mktime_js": func(_ *host, m api.Module, a []uint64) {
		a[0] = uint64(readBrokenDownTime(m.Memory(), uint32(a[0])).Unix())
	},
	"tzset_js": func(_ *host, m api.Module, a []uint64) {
		putU32(m.Memory(), uint32(a[0]), 0)
		putU32(m.Memory(), uint32(a[1]), 0)
		for _, p := range a[2:4] {
			putBytes(m.Memory(), uint32(p), []byte("UTC\x00"))
		}
	},
	"random_get": func(h *host, m api.Module, a []uint64) {
		buf := make([]byte, uint32(a[1]))
		_, _ = h.random.Read(buf) // never fails
		putBytes(m.Memory(), uint32(a[0]), buf)
		a[0] = 0
	},
	"environ_sizes_get": func(_ *host, m api.Module, a []uint64) {
		putU32(m.Memory(), uint32(a[0]), 0)
		putU32(m.Memory(), uint32(a[1]), 0)
		a[0] = 0
	},
	"environ_get": func(_ *host, _ api.Module, a []uint64) { a[0] = 0 },
	// The console calls: (which, signature, arguments), each with one string.
	"emscripten_asm_const_int": func(h *host, m api.Module, a []uint64) {
		h.say(cString(m.Memory(), getU32(m.Memory(), uint32(a[2]))) + "\n")
		a[0] = 0
	},
	"fd_write": func(h *host, m api.Module, a []uint64) {
		a[0] = h.files.write(h, m.Memory(), uint32(a[0]), uint32(a[1]), uint32(a[2]), uint32(a[3]))
	},
	"fd_read": func(h *host, m api.Module, a []uint64) {
		a[0] = h.files.read(m.Memory(), uint32(a[0]), uint32(a[1]), uint32(a[2]), uint32(a[3]))
	},
	"fd_seek": func(h *host, m api.Module, a []uint64) {
		a[0] = h.files.seek(m.Memory(), uint32(a[0]), int64(a[1]), uint32(a[2]), uint32(a[3]))
	},
	"fd_close": func(h *host, _ api.Module, a []uint64) { a[0] = h.files.close(uint32(a[0])) },
	"syscall_openat": func(h *host, m api.Module, a []uint64) {
		a[0] = h.files.open(cString(m.Memory(), uint32(a[1])), uint32(a[2]))
	},
	"syscall_getdents64": func(h *host, m api.Module, a []uint64) {
		a[0] = h.files.list(m.Memory(), uint32(a[0]), uint32(a[1]), uint32(a[2]))
	},
	"syscall_fcntl64": func(_ *host, _ api.Module, a []uint64) { a[0] = 0 },
	"syscall_ioctl":   func(_ *host, _ api.Module, a []uint64) { a[0] = negative(errNoTTY) },
}

// resizeHeap grows memory to at least the asked size, or by a fifth where that is
// more, as the build's own loader does; 0 tells the allocator that there is none.
func resizeHeap(_ *host, m api.Module, a []uint64) {
	const page = 65536
	mem := m.Memory()
	asked, have := uint64(uint32(a[0])), uint64(mem.Size())
	want := max(asked, min(have+have/5, asked+96<<20))
	for _, size := range []uint64{want, asked} {
		if size <= have {
			break
		}
		if _, ok := mem.Grow(uint32((size - have + page - 1) / page)); ok {
			a[0] = 1
			return
		}
	}
	a[0] = 0
}

// describeException names a thrown C++ object: the mangled name of its type and, for
// the standard exceptions that carry one, the message.
func describeException(mem api.Memory, object, typeInfo uint32) string {
	name := cString(mem, getU32(mem, typeInfo+4))
	text := "it threw " + name
	switch name {
	case "St9bad_alloc":
		return "out of memory"
	case "St13runtime_error", "St11logic_error", "St16invalid_argument", "St12out_of_range", "St12length_error", "St12domain_error":
		if message := cString(mem, getU32(mem, object+4)); message != "" {
			text += ": " + message
		}
	}
	return text
}

// linkHost gives the runtime the module that the engraver imports, under the names
// and with the types the engraver declares.
func linkHost(ctx context.Context, rt wazero.Runtime, engraver wazero.CompiledModule, names map[string]string) error {
	builders := map[string]wazero.HostModuleBuilder{}
	for _, def := range engraver.ImportedFunctions() {
		module, short, _ := def.Import()
		call, ok := hostFuncs[names[short]]
		if !ok {
			return fmt.Errorf("the engraver imports %q (%q), which is not provided", short, names[short])
		}
		if builders[module] == nil {
			builders[module] = rt.NewHostModuleBuilder(module)
		}
		builders[module] = builders[module].NewFunctionBuilder().WithGoModuleFunction(
			api.GoModuleFunc(func(ctx context.Context, m api.Module, stack []uint64) { call(hostOf(ctx), m, stack) }),
			def.ParamTypes(), def.ResultTypes()).WithName(names[short]).Export(short)
	}
	for _, b := range builders {
		if _, err := b.Instantiate(ctx); err != nil {
			return err
		}
	}
	return nil
}

func writeBrokenDownTime(mem api.Memory, p uint32, t time.Time) {
	for i, v := range []int{t.Second(), t.Minute(), t.Hour(), t.Day(), int(t.Month()) - 1, t.Year() - 1900,
		int(t.Weekday()), t.YearDay() - 1, 0, 0} {
		putU32(mem, p+4*uint32(i), uint32(int32(v)))
	}
}

func readBrokenDownTime(mem api.Memory, p uint32) time.Time {
	var v [6]int
	for i := range v {
		v[i] = int(int32(getU32(mem, p+4*uint32(i))))
	}
	return time.Date(v[5]+1900, time.Month(v[4]+1), v[3], v[2], v[1], v[0], 0, time.UTC)
}

// The memory helpers panic on an address outside memory: inside a host call that
// ends the call as a trap would.

func getU32(mem api.Memory, p uint32) uint32 {
	v, ok := mem.ReadUint32Le(p)
	if !ok {
		panic(&thrown{"it passed an address outside its memory"})
	}
	return v
}

func putU32(mem api.Memory, p, v uint32) {
	if !mem.WriteUint32Le(p, v) {
		panic(&thrown{"it passed an address outside its memory"})
	}
}

func putBytes(mem api.Memory, p uint32, b []byte) {
	if !mem.Write(p, b) {
		panic(&thrown{"it passed an address outside its memory"})
	}
}

func getBytes(mem api.Memory, p, n uint32) []byte {
	b, ok := mem.Read(p, n)
	if !ok {
		panic(&thrown{"it passed an address outside its memory"})
	}
	return b
}

// cString reads the NUL-terminated string at p; "" for a null pointer.
func cString(mem api.Memory, p uint32) string {
	if p == 0 || p >= mem.Size() {
		return ""
	}
	rest := getBytes(mem, p, mem.Size()-p)
	n := indexNUL(rest)
	return string(rest[:n])
}

func indexNUL(b []byte) int {
	for i, c := range b {
		if c == 0 {
			return i
		}
	}
	return len(b)
}

func negative(errno int32) uint64 { return api.EncodeI32(-errno) }

var le = binary.LittleEndian
