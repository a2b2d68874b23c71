package ingest

import (
	"bufio"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
)

// Content is what tells a log from all others: the hash of what the file holds,
// unpacked, whatever its name. A file that is packed and damaged is told by its
// packed bytes.
func Content(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	br := bufio.NewReaderSize(f, readSize)
	if magic, _ := br.Peek(2); isGzip(magic) {
		if z, err := gzip.NewReader(br); err == nil {
			sum := sha256.New()
			if n, err := io.Copy(sum, io.LimitReader(z, defaultMaxBytes)); err == nil && n < defaultMaxBytes {
				return hex.EncodeToString(sum.Sum(nil)), nil
			}
		}
		if _, err := f.Seek(0, io.SeekStart); err != nil {
			return "", fmt.Errorf("%s: %w", path, err)
		}
		br.Reset(f)
	}
	sum := sha256.New()
	if _, err := io.Copy(sum, br); err != nil {
		return "", fmt.Errorf("%s: %w", path, err)
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}
