package report

import (
	"bytes"
	"testing"
)

func TestThinPage(t *testing.T) {
	var b bytes.Buffer
	if err := HTML(&b, fixture(), Options{}); err != nil || b.Len() < 1000 {
		t.Fatal(err, b.Len())
	}
}
