package book_test

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"

	"fettle/cmd/internal/book"
)

// A Causeway that was built and repaired twice prints on at most twelve pages of A4, by
// Chromium where it is installed. FETTLE_PRINT keeps the pages in that folder, to be looked
// at.
func TestPrinted(t *testing.T) {
	if os.Getenv("FETTLE_LONG") == "" {
		t.Skip("FETTLE_LONG is not set")
	}
	browser, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("Chromium is not installed")
	}
	w := whole(t)
	folder := t.TempDir()
	if kept := os.Getenv("FETTLE_PRINT"); kept != "" {
		folder = kept
	}
	page := filepath.Join(folder, "book.html")
	text := write(t, w, book.Options{Finding: findings(t), Photo: func(string) ([]byte, string, error) { return picture(t), "image/jpeg", nil }})
	if err := os.WriteFile(page, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	printed := filepath.Join(folder, "book.pdf")
	out, err := exec.CommandContext(t.Context(), browser, "--headless", "--no-sandbox", "--disable-gpu", "--user-data-dir="+t.TempDir(), "--no-pdf-header-footer", "--print-to-pdf="+printed, "file://"+page).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	n, err := pagesOf(printed)
	if err != nil {
		t.Fatal(err)
	}
	estimate := pages(parse(t, text))
	t.Logf("%d pages, estimated %.1f", n, estimate)
	if n < 4 || n > 12 {
		t.Errorf("it prints on %d pages", n)
	}
	if float64(n) > estimate+1 {
		t.Errorf("it prints on %d pages, and the estimate is %.1f", n, estimate)
	}
}

// pagesOf counts the pages of a PDF, whose tree of pages says how many there are.
func pagesOf(file string) (int, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return 0, err
	}
	most := 0
	for _, found := range regexp.MustCompile(`/Count (\d+)`).FindAllSubmatch(data, -1) {
		n, err := strconv.Atoi(string(found[1]))
		if err != nil {
			return 0, err
		}
		most = max(most, n)
	}
	if most == 0 {
		return 0, errors.New("the PDF does not say how many pages it has")
	}
	return most, nil
}

// picture is as large as a book makes photos.
func picture(t *testing.T) []byte {
	t.Helper()
	m := image.NewRGBA(image.Rect(0, 0, 1200, 900))
	for y := range 900 {
		for x := range 1200 {
			m.Set(x, y, color.RGBA{uint8(x / 6), uint8(y / 5), uint8((x + y) / 9), 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
