package procedures

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/store/photos"
)

// The most pictures of a document, and bytes of all of them together.
const (
	mostPictures     = 100
	mostPictureBytes = photos.MaxBytes
)

// A pictured is a picture that lies beside a document, and where it is named.
type pictured struct {
	steps.Picture
	file  string
	bytes int
	at    place
}

// pictureName is the name of a picture: in the folder of the document, and in no other.
var pictureName = pattern(`^[\pL\pN_][\pL\pM\pN ._-]*\.(?i:jpg|jpeg|png)$`)

// keptPicture is a picture as the program writes it: its digest, and its name.
var keptPicture = pattern(`(?m)^\s*picture: (sha256:[0-9a-f]{64}) (.+)$`)

// pictureValue is the name of a picture; the program writes its digest before it.
type pictureValue struct{}

func (*pictureValue) read(r *reader, n *node, what string, to *steps.Picture) {
	name := r.text(n, what)
	digest, named, ok := strings.Cut(name, " ")
	if ok = ok && strings.HasPrefix(digest, "sha256:"); ok {
		name = named
		r.doc.digests = append(r.doc.digests, r.at(n))
	}
	switch {
	case name == "" || r.unfilled[n] || r.within.own && blanks().MatchString(name):
	case len(name) > longestName || !pictureName().MatchString(name):
		r.fault(n, "%q does not name a picture in the folder of the document: write the name of a .jpg or .png file, without a folder, of at most %d characters", name, longestName)
	case ok:
		*to = steps.Picture{Name: name, Digest: digest}
	case !r.kept:
		*to = r.beside(n, name)
	}
}

func (*pictureValue) write(from *steps.Picture) *node {
	if from.Name == "" {
		return nil
	}
	return scalar(from.Digest + " " + from.Name)
}

func (*pictureValue) typ() *typ { return &typ{} }

// beside is the picture of that name in the folder of what is read.
func (r *reader) beside(n *node, name string) steps.Picture {
	file := filepath.Join(filepath.Dir(cmp.Or(r.within.file, r.doc.File)), name)
	total := 0
	for _, have := range r.doc.pictures {
		if have.file == file {
			return have.Picture
		}
		total += have.bytes
	}
	data, err := photos.Load(context.Background(), file)
	switch {
	case err != nil:
		r.fault(n, "%s", wrongPicture(name, err))
		return steps.Picture{}
	case len(r.doc.pictures) == mostPictures:
		r.fault(n, "more than %d pictures", mostPictures)
		return steps.Picture{}
	case total+len(data) > mostPictureBytes:
		r.fault(n, "its pictures have more than %d MiB together: save them smaller", mostPictureBytes>>20)
		return steps.Picture{}
	}
	p := pictured{steps.Picture{Name: name, Digest: digest(data)}, file, len(data), r.at(n)}
	r.doc.pictures = append(r.doc.pictures, p)
	return p.Picture
}

// undrawn finds pictures of which only the beginning is good. It draws them, which takes
// long: whoever starts a job with them has them drawn too.
func (d *Document) undrawn(ctx context.Context) Faults {
	var faults Faults
	for _, p := range d.pictures {
		data, err := photos.Load(ctx, p.file)
		if err == nil {
			err = photos.Draws(ctx, data)
		}
		if err != nil && ctx.Err() == nil {
			faults = d.also(faults, p.at, wrongPicture(p.Name, err))
		}
	}
	return faults
}

// wrongPicture says what is wrong with a picture, without the path of its folder.
func wrongPicture(name string, err error) string {
	if at, ok := errors.AsType[*photos.Error](err); ok {
		err = at.Err
	}
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Sprintf("the picture %s is not in the folder of the document", name)
	}
	return fmt.Sprintf("the picture %s is %v", name, err)
}

// PictureFile is where the picture of that digest lies beside the document; "": nowhere.
func (d *Document) PictureFile(digest string) string {
	if i := slices.IndexFunc(d.pictures, func(p pictured) bool { return p.Digest == digest }); i >= 0 {
		return d.pictures[i].file
	}
	return ""
}

// PictureFiles are the files of the pictures that lie in the folder of the document. Those of
// steps that it uses lie with the documents of these.
func (d *Document) PictureFiles() []string {
	var all []string
	for _, p := range d.pictures {
		if filepath.Dir(p.file) == filepath.Dir(d.File) {
			all = append(all, p.file)
		}
	}
	return all
}

// PictureFile is where the picture of that digest lies beside a document of one's own;
// "": nowhere.
func (l *Library) PictureFile(digest string) string {
	own, _, _ := l.own()
	for _, e := range own {
		if file := e.Document.PictureFile(digest); file != "" {
			return file
		}
	}
	return ""
}

// PicturesIn are the pictures that a document names as it is kept with a job. It is not
// parsed for that.
func PicturesIn(kept []byte) []steps.Picture {
	var all []steps.Picture
	found := 0
	for line := range bytes.Lines(kept) {
		if !bytes.Contains(line, []byte("picture: sha256:")) { // the expression would try every byte
			continue
		}
		m := keptPicture().FindSubmatch(line)
		if m == nil {
			continue
		}
		if found++; found > mostSteps {
			break
		}
		if p := (steps.Picture{Name: string(m[2]), Digest: string(m[1])}); pictureName().MatchString(p.Name) && !lists.Contains(all, p) {
			all = append(all, p)
		}
	}
	return all
}
