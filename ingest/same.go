package ingest

import (
	"bufio"
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
	sum := sha256.New()
	r, packed, err := unpacked(bufio.NewReaderSize(f, readSize))
	var n int64
	if err == nil {
		n, err = io.Copy(sum, io.LimitReader(r, defaultMaxBytes))
	}
	if packed && (err != nil || n == defaultMaxBytes) {
		sum.Reset()
		if _, err = f.Seek(0, io.SeekStart); err == nil {
			_, err = io.Copy(sum, f)
		}
	}
	if err != nil {
		return "", fmt.Errorf("%s: %w", path, err)
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}
