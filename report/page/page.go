// Package page is the static page for the beach: logger, library, analysis and
// report in a browser, from files alone. It holds all that the page is made of
// but the program, and puts the two together.
//
// It imports report, for the policy of the sheets that the page shows, and
// report/form.
package page

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"maps"
	"regexp"
	"slices"
	"strings"

	"evenfoot/report"
	"evenfoot/report/form"
)

//go:embed assets
var assets embed.FS

// Files are the page by the names of its files: with the program, as Go builds
// it for js/wasm, and Go's wasm_exec.js. The same input gives the same bytes.
func Files(program, wasmExec []byte) (map[string][]byte, error) {
	out := map[string][]byte{"wasm_exec.js": wasmExec, "form.js": form.Script}
	entries, err := assets.ReadDir("assets")
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		if out[e.Name()], err = assets.ReadFile("assets/" + e.Name()); err != nil {
			return nil, err
		}
	}
	if out["evenfoot.wasm.gz"], err = packed(program); err != nil {
		return nil, err
	}
	for _, size := range []int{192, 512} {
		var b bytes.Buffer
		if err := png.Encode(&b, icon(size)); err != nil {
			return nil, err
		}
		out[fmt.Sprintf("icon-%d.png", size)] = b.Bytes()
	}
	out["index.html"] = bytes.Replace(out["index.html"], []byte("<!--POLICY-->"), []byte(Policy()), 1)
	out["sw.js"], err = serviceWorker(out)
	return out, err
}

func packed(program []byte) ([]byte, error) {
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err == nil {
		_, err = z.Write(program)
	}
	if err == nil {
		err = z.Close()
	}
	return b.Bytes(), err
}

// serviceWorker is the worker that keeps the files, with what each must hash to.
func serviceWorker(files map[string][]byte) ([]byte, error) {
	list := map[string]string{}
	all := sha256.New()
	for _, name := range slices.Sorted(maps.Keys(files)) {
		sum := sha256.Sum256(files[name])
		all.Write(sum[:])
		if name != "sw.js" {
			list[name] = "sha256-" + base64.StdEncoding.EncodeToString(sum[:])
		}
	}
	text, err := json.MarshalIndent(list, "", "  ")
	if err != nil {
		return nil, err
	}
	sw := strings.Replace(string(files["sw.js"]), "/*FILES*/ {}", string(text), 1)
	return []byte(strings.Replace(sw, "/*VERSION*/", hex.EncodeToString(all.Sum(nil))[:12], 1)), nil
}

var hashes = regexp.MustCompile(`(script|style)-src ([^;]*)`)

// Policy is the page's content security policy: its own files, the program, and
// the script and style of the sheets by their hashes, which a frame takes over.
func Policy() string {
	own := map[string]string{}
	for _, m := range hashes.FindAllStringSubmatch(report.Policy(), -1) {
		own[m[1]] = m[2]
	}
	return "default-src 'none'; script-src 'self' 'wasm-unsafe-eval' " + own["script"] + "; style-src 'self' " + own["style"] +
		"; img-src 'self'; connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'"
}

// icon draws icon.svg in px: a board on its foil, and two feet.
func icon(size int) image.Image {
	m := image.NewRGBA(image.Rect(0, 0, size, size))
	at := func(v float64) int { return int(v * float64(size) / 64) }
	fill := func(x0, y0, x1, y1 float64, c color.Color) {
		draw.Draw(m, image.Rect(at(x0), at(y0), at(x1), at(y1)), image.NewUniform(c), image.Point{}, draw.Src)
	}
	white, sea, foot := color.White, color.RGBA{0x0b, 0x5c, 0x6b, 0xff}, color.RGBA{0xff, 0xd1, 0x66, 0xff}
	fill(0, 0, 64, 64, sea)
	fill(8, 21, 56, 27, white)
	fill(30, 27, 34, 48, white)
	fill(20, 46, 44, 50, white)
	fill(16, 10, 24, 19, foot)
	fill(40, 10, 48, 19, foot)
	return m
}
