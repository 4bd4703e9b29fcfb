package engrave

import (
	"path"
	"slices"

	"github.com/tetratelabs/wazero/api"
)

// memFS is the read-only file system of one instance: the fonts and tables that the
// engraver carries in its own data section. A file is a range of the instance's
// memory, so that nothing is copied.
type memFS struct {
	files   map[string]span
	folders map[string][]string // folder -> the names in it
	streams map[uint32]*stream
	next    uint32 // the next descriptor; 0 to 2 are the standard streams
}

type span struct{ ptr, len uint32 }

type stream struct {
	data   span
	names  []string // of a folder
	folder bool
	pos    int64
}

func newMemFS() memFS {
	return memFS{files: map[string]span{}, folders: map[string][]string{"/": nil}, streams: map[uint32]*stream{}, next: 3}
}

// addEmbedded reads the table at p: triples of name, length and content, until a
// null name.
func (fs *memFS) addEmbedded(mem api.Memory, p uint32) {
	for name := getU32(mem, p); name != 0; name = getU32(mem, p) {
		file := path.Clean("/" + cString(mem, name))
		fs.files[file] = span{ptr: getU32(mem, p+8), len: getU32(mem, p+4)}
		fs.enter(file)
		p += 12
	}
}

// enter makes the folders above a path and lists it in the last of them.
func (fs *memFS) enter(file string) {
	folder := path.Dir(file)
	if _, ok := fs.folders[folder]; !ok {
		fs.folders[folder] = nil
		fs.enter(folder)
	}
	if name := path.Base(file); !slices.Contains(fs.folders[folder], name) {
		fs.folders[folder] = append(fs.folders[folder], name)
	}
}

// open gives a descriptor or a negative error number; only reading is allowed.
func (fs *memFS) open(name string, flags uint32) uint64 {
	const accessMode, create = 3, 0o100
	if flags&(accessMode|create) != 0 {
		return negative(errReadOnly)
	}
	name = path.Clean("/" + name)
	s := &stream{}
	if data, ok := fs.files[name]; ok {
		s.data = data
	} else if names, ok := fs.folders[name]; ok {
		s.folder, s.names = true, append([]string{".", ".."}, names...)
	} else {
		return negative(errNoEntry)
	}
	fd := fs.next
	fs.next++
	fs.streams[fd] = s
	return uint64(fd)
}

func (fs *memFS) close(fd uint32) uint64 {
	if _, ok := fs.streams[fd]; !ok {
		return errBadFile
	}
	delete(fs.streams, fd)
	return 0
}

// read fills n buffers (pairs of address and length at iov) and stores the count.
func (fs *memFS) read(mem api.Memory, fd, iov, n, count uint32) uint64 {
	s, ok := fs.streams[fd]
	switch {
	case !ok:
		return errBadFile
	case s.folder:
		return errIsFolder
	}
	total := uint32(0)
	for i := range n {
		dst, room := getU32(mem, iov+8*i), getU32(mem, iov+8*i+4)
		left := uint32(max(0, int64(s.data.len)-s.pos))
		take := min(room, left)
		putBytes(mem, dst, getBytes(mem, s.data.ptr+uint32(s.pos), take))
		s.pos += int64(take)
		total += take
		if take < room {
			break
		}
	}
	putU32(mem, count, total)
	return 0
}

// write takes what goes to standard output and error; nothing else can be written.
func (fs *memFS) write(h *host, mem api.Memory, fd, iov, n, count uint32) uint64 {
	if fd != 1 && fd != 2 {
		return errBadFile
	}
	total := uint32(0)
	for i := range n {
		src, size := getU32(mem, iov+8*i), getU32(mem, iov+8*i+4)
		h.say(string(getBytes(mem, src, size)))
		total += size
	}
	putU32(mem, count, total)
	return 0
}

// seek moves to an offset from the start (whence 0), the place reached (1) or the
// end (2), and stores the new place as 64 bits.
func (fs *memFS) seek(mem api.Memory, fd uint32, offset int64, whence, result uint32) uint64 {
	s, ok := fs.streams[fd]
	if !ok {
		return errBadFile
	}
	switch whence {
	case 1:
		offset += s.pos
	case 2:
		offset += int64(s.data.len)
	}
	if offset < 0 || whence > 2 {
		return errInvalid
	}
	s.pos = offset
	if !mem.WriteUint64Le(result, uint64(offset)) {
		return errInvalid
	}
	return 0
}

// list writes directory entries of the build's fixed size (280 bytes: inode, offset,
// record length, type, name) and gives the bytes written; 0 at the end.
func (fs *memFS) list(mem api.Memory, fd, dst, room uint32) uint64 {
	const size, nameAt, isFolder, isFile = 280, 19, 4, 8
	s, ok := fs.streams[fd]
	if !ok {
		return negative(errBadFile)
	}
	if !s.folder {
		return negative(errNotFolder)
	}
	written := uint32(0)
	for ; int(s.pos) < len(s.names) && written+size <= room; written += size {
		name := s.names[s.pos]
		s.pos++
		var entry [size]byte
		le.PutUint64(entry[0:], uint64(s.pos))
		le.PutUint64(entry[8:], uint64(s.pos)*size)
		le.PutUint16(entry[16:], size)
		entry[18] = isFile
		if path.Ext(name) == "" {
			entry[18] = isFolder
		}
		copy(entry[nameAt:size-1], name)
		putBytes(mem, dst+written, entry[:])
	}
	return uint64(written)
}
