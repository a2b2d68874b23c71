package site

import (
	"archive/zip"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
)

// A file to be written; with data nil, to be removed.
type file struct {
	path string
	data []byte
}

// write writes files whole or not at all: all are on the disk before the first
// has its name, and the names are there when it returns. One without a path is
// passed over.
func (st *store) write(files ...file) error {
	staged := make([]string, len(files))
	defer func() {
		for _, tmp := range staged {
			if tmp != "" {
				os.Remove(tmp) // what took its name is not there any more
			}
		}
	}()
	for i, f := range files {
		if f.path == "" || f.data == nil {
			continue
		}
		tmp, err := os.CreateTemp(st.incoming(), "part-*")
		if err != nil {
			return err
		}
		staged[i] = tmp.Name()
		_, err = tmp.Write(f.data)
		if err := cmp.Or(err, tmp.Sync(), tmp.Close()); err != nil {
			tmp.Close()
			return err
		}
	}
	for i, f := range files {
		var err error
		switch {
		case f.path == "":
			continue
		case f.data == nil:
			if err = os.Remove(f.path); errors.Is(err, fs.ErrNotExist) {
				err = nil
			}
		default:
			err = os.Rename(staged[i], f.path)
		}
		if err := cmp.Or(err, syncFolder(filepath.Dir(f.path))); err != nil {
			return err
		}
	}
	return nil
}

// syncFolder brings the names in a folder to the disk, where the system can.
func syncFolder(dir string) error {
	if runtime.GOOS == "windows" {
		return nil // folders cannot be opened for it there
	}
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// copyFile copies a file to a name that is not there yet, down to the disk.
func copyFile(from, to string) error {
	src, err := os.Open(from)
	if err != nil {
		return err
	}
	defer src.Close()
	return fill(to, src)
}

// fill writes a file that is not there yet, down to the disk, and the folders on
// the way.
func fill(to string, r io.Reader) error {
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return err
	}
	w, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(w, r)
	return errors.Join(cmp.Or(err, w.Sync()), w.Close())
}

// errExpands says that an archive holds more than it may.
var errExpands = errors.New("it expands without measure")

// unzip hands on the files of an archive, no more than most bytes in all. failed is
// the one that an error is of, "" where it is of the archive.
func unzip(archive string, most int64, put func(name string, r io.Reader) error) (failed string, err error) {
	z, err := zip.OpenReader(archive)
	if err != nil {
		return "", err
	}
	defer z.Close()
	left := uint64(most)
	for _, f := range z.File {
		if strings.HasSuffix(f.Name, "/") {
			continue
		}
		if f.UncompressedSize64 > left { // as it says; a longer one is an error of the reader
			return f.Name, errExpands
		}
		left -= f.UncompressedSize64
		r, err := f.Open()
		if err == nil {
			err = cmp.Or(put(f.Name, r), r.Close())
		}
		if err != nil {
			return f.Name, err
		}
	}
	return "", nil
}

// hashFile is the SHA-256 of a file, and its size.
func hashFile(path string) (string, int64, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", 0, err
	}
	defer f.Close()
	sum := sha256.New()
	n, err := io.Copy(sum, f)
	return hex.EncodeToString(sum.Sum(nil)), n, err
}
