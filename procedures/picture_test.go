package procedures

import (
	"bytes"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fettle/steps"
)

const lookedAt = `procedure: wren-look
kind: check
title: Look a Wren over
revision: 1
stages:
  - stage: look
    steps:
      - each: {side: [left, right]}
        steps:
          - step: look-<side>
            do: Look at the <side> wing.
            picture: PICTURE
`

// A picture lies in the folder of the document, and is a picture. What is kept with a job
// names it by its bytes, and needs no file.
func TestPicturesBesideADocument(t *testing.T) {
	folder := t.TempDir()
	var data bytes.Buffer
	if err := png.Encode(&data, image.NewGray(image.Rect(0, 0, 4, 3))); err != nil {
		t.Fatal(err)
	}
	put := func(name string, data []byte) {
		if err := os.WriteFile(filepath.Join(folder, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"left wing.png", "right wing.png", "both.PNG", ".hidden.png"} {
		put(name, data.Bytes())
	}
	put("words.png", []byte("words"))
	put("large.png", nil)
	if err := os.Truncate(filepath.Join(folder, "large.png"), mostPictureBytes+1); err != nil {
		t.Fatal(err)
	}
	put("shared.yaml", []byte(strings.NewReplacer("wren-look", "shared", "kind: check", "kind: steps", "PICTURE", "<side> wing.png").Replace(lookedAt)))
	zeros := "sha256:" + strings.Repeat("0", 64)
	for _, test := range []struct{ picture, want string }{
		{"both.PNG", ""},
		{"<side> wing.png", ""},
		{"<side>.png", "wren-look.yaml:12:22: the picture left.png is not in the folder of the document (with side: left)"},
		{"words.png", "wren-look.yaml:12:22: the picture words.png is not a JPEG or PNG"},
		{"large.png", "the picture large.png is longer than 40 MiB"},
		{".hidden.png", "does not name a picture"},
		{"../both.png", "does not name a picture"},
		{"/etc/both.png", "does not name a picture"},
		{`..\both.png`, "does not name a picture"},
		{"C:both.png", "does not name a picture"},
		{"both.svg", "does not name a picture"},
		{zeros + " both.png", "the digest of a picture is written by the program alone"},
	} {
		put("wren-look.yaml", []byte(strings.ReplaceAll(lookedAt, "PICTURE", test.picture)))
		doc, err := Open(folder).Find("wren-look")
		if test.want != "" {
			if err == nil || !strings.Contains(err.Error(), test.want) {
				t.Errorf("%s: %v, not %q", test.picture, err, test.want)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", test.picture, err)
			continue
		}
		kept, err := Read("kept.yaml", doc.Bytes)
		if err != nil {
			t.Fatal(err)
		}
		var named []steps.Picture
		for _, s := range kept.Procedure.Steps() {
			if s.Picture.Digest != digest(data.Bytes()) || doc.PictureFile(s.Picture.Digest) == "" {
				t.Errorf("%s: %s has %+v", test.picture, s.Name, s.Picture)
			}
			if len(named) == 0 || named[0] != s.Picture {
				named = append(named, s.Picture)
			}
		}
		if got := PicturesIn(doc.Bytes); len(got) != len(named) || got[0] != named[0] {
			t.Errorf("%s: %v are found in the bytes, not %v", test.picture, got, named)
		}
	}
	put("wren-look.yaml", []byte("procedure: wren-look\nkind: check\ntitle: Look\nrevision: 1\nstages:\n  - {stage: look, use: shared/look}\n"))
	if doc, err := Open(folder).Find("wren-look"); err != nil || doc.Procedure.Steps()[0].Picture.Name != "left wing.png" {
		t.Errorf("used: %v", err)
	}
}

// What is a picture in the bytes of a document is a line that begins so.
func TestPicturesIn(t *testing.T) {
	a, b := strings.Repeat("0a", 32), strings.Repeat("f9", 32)
	kept := "picture: sha256:" + a + " wing.png\n\n    picture: sha256:" + b + " left wing.jpg\n" +
		"    picture: sha256:" + a + " wing.png\n" + // once more
		"do: picture: sha256:" + b + " said.png\n- picture: sha256:" + b + " listed.png\n" +
		"picture: sha256:" + a[1:] + " short.png\npicture: sha256:" + a + "\npicture: sha256:" + a + " ../wing.png\n" +
		"\tpicture: sha256:" + b + " last.jpeg"
	want := []steps.Picture{{Name: "wing.png", Digest: "sha256:" + a}, {Name: "left wing.jpg", Digest: "sha256:" + b}, {Name: "last.jpeg", Digest: "sha256:" + b}}
	if got := PicturesIn([]byte(kept)); !slices.Equal(got, want) {
		t.Errorf("found are %v, want %v", got, want)
	}
	if got := PicturesIn([]byte(strings.Repeat("picture: sha256:"+a+" wing.png\n", mostSteps) + "picture: sha256:" + b + " more.png\n")); len(got) != 1 {
		t.Errorf("of more than a document may have %v are found", got)
	}
}
