//go:build js

package main

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path"
	"slices"
	"strings"

	"evenfoot/ingest"
)

// Bounds of an archive that is brought in.
const (
	entriesMost = 2000
	listMost    = 1 << 20 // bytes of the list of its files, which is held in memory
)

// pack writes folders to an archive, each under its own name.
func pack(q request) (r reply, err error) {
	f, err := os.Create(q.File)
	if err != nil {
		return r, err
	}
	z := zip.NewWriter(f)
	for _, dir := range q.Folders {
		entries, err := os.ReadDir(dir)
		if err != nil {
			return r, err
		}
		for _, e := range entries {
			if err := packFile(z, path.Join(path.Base(dir), e.Name()), path.Join(dir, e.Name())); err != nil {
				return r, errors.Join(fmt.Errorf("%s cannot be packed: %w", e.Name(), err), f.Close())
			}
		}
	}
	return r, errors.Join(z.Close(), f.Close())
}

func packFile(z *zip.Writer, name, from string) error {
	src, err := os.Open(from)
	if err != nil {
		return err
	}
	defer src.Close()
	dst, err := z.Create(name)
	if err == nil {
		_, err = io.Copy(dst, src)
	}
	return err
}

// unpack writes an archive's files below a folder: a session's files, or
// folders of sessions. Names is what sessions there are.
func unpack(q request) (r reply, err error) {
	f, err := os.Open(q.File)
	if err != nil {
		return r, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return r, err
	}
	list := &atMost{f, listMost}
	z, err := zip.NewReader(list, info.Size())
	if errors.Is(err, errTooMany) || err == nil && len(z.File) > entriesMost {
		return r, fmt.Errorf("the archive holds more than %d files; that many are no sessions. Add the zips of single outings", entriesMost)
	} else if err != nil {
		return r, fmt.Errorf("this is no archive that can be read: %w", err)
	}
	list.left = math.MaxInt
	left := uint64(ingest.ExpandsMost(info.Size()))
	for _, e := range z.File {
		if e.UncompressedSize64 > left {
			return r, fmt.Errorf("the archive expands to more than %d times its size; that is no outing", ingest.MaxRatio)
		}
		left -= e.UncompressedSize64
	}
	sessions := map[string]string{} // their names by their folders
	for _, e := range z.File {
		dir, file := path.Split(e.Name)
		if file == "" || strings.HasPrefix(e.Name, ".") || strings.Contains(e.Name, "/.") || !isPlain(file) {
			continue
		}
		session, there := sessions[dir]
		if !there {
			like := path.Base(dir)
			if dir == "" || !isPlain(like) {
				like = q.Text
			}
			session = like
			for n := 2; slices.Contains(r.Names, session); n++ {
				session = fmt.Sprintf("%s-%d", like, n)
			}
			sessions[dir] = session
			r.Names = append(r.Names, session)
		}
		if err := unpackFile(e, path.Join(q.Folder, session, file)); err != nil {
			return r, fmt.Errorf("%s cannot be unpacked: %w", file, ingest.Cause(err))
		}
	}
	if len(r.Names) == 0 {
		return r, errors.New("the archive holds no files of a session")
	}
	return r, nil
}

// isPlain says that a name is one, and leads nowhere else.
func isPlain(name string) bool {
	return name != "." && name != ".." && !strings.ContainsAny(name, "/\\\x00")
}

// unpackFile writes one file; one that holds more than it says is refused.
func unpackFile(e *zip.File, to string) error {
	src, err := e.Open()
	if err != nil {
		return err
	}
	defer src.Close()
	dst, err := os.Create(to)
	if err != nil {
		return err
	}
	_, err = io.Copy(dst, src)
	return errors.Join(err, dst.Close())
}

var errTooMany = errors.New("too much was read")

// atMost reads no more than is left.
type atMost struct {
	io.ReaderAt
	left int
}

func (r *atMost) ReadAt(p []byte, at int64) (int, error) {
	if r.left -= len(p); r.left < 0 {
		return 0, errTooMany
	}
	return r.ReaderAt.ReadAt(p, at)
}
