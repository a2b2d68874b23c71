//go:build js

package main

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"strings"
)

// Bounds of an archive that is brought in.
const (
	entriesMost = 2000
	bytesMost   = 2 << 30
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
	z, err := zip.OpenReader(q.File)
	if err != nil {
		return r, fmt.Errorf("this is no archive that can be read: %w", err)
	}
	defer z.Close()
	if len(z.File) > entriesMost {
		return r, fmt.Errorf("the archive holds %d files; more than %d are no sessions", len(z.File), entriesMost)
	}
	left := int64(bytesMost)
	seen := map[string]bool{}
	for _, e := range z.File {
		dir, file := path.Split(e.Name)
		session := path.Base(dir)
		if file == "" || strings.HasPrefix(file, ".") || !isPlain(file) {
			continue
		}
		if dir == "" || !isPlain(session) {
			session = q.Text
		}
		n, err := unpackFile(e, path.Join(q.Folder, session, file), left)
		if err != nil {
			return r, fmt.Errorf("%s cannot be unpacked: %w", file, err)
		}
		left -= n
		if !seen[session] {
			seen[session] = true
			r.Names = append(r.Names, session)
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

func unpackFile(e *zip.File, to string, most int64) (int64, error) {
	src, err := e.Open()
	if err != nil {
		return 0, err
	}
	defer src.Close()
	dst, err := os.Create(to)
	if err != nil {
		return 0, err
	}
	n, err := io.Copy(dst, io.LimitReader(src, most+1))
	if err == nil && n > most {
		err = errors.New("it expands to more than any session holds")
	}
	return n, errors.Join(err, dst.Close())
}
