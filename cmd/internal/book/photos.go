package book

import (
	"bytes"
	"encoding/base64"
	"errors"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/store/photos"
	"fettle/workflow/journal"
)

// A photo is one photo that was kept.
type photo struct {
	entry
	journal.PhotoKept
	Shows []entry // the entries that it shows
}

// photosOf returns the photos that the journal names, in the order of entry.
func (m *maker) photosOf() []photo {
	var all []photo
	for _, e := range m.live() {
		f, ok := e.Facts.(journal.PhotoKept)
		if !ok {
			continue
		}
		p := photo{entry: e, PhotoKept: f}
		for _, position := range f.Of {
			if position >= 0 && position < int64(len(m.entries)) {
				shown := m.entries[position]
				shown.Says = m.happened(shown)
				p.Shows = append(p.Shows, shown)
			}
		}
		all = append(all, p)
	}
	return all
}

// of returns the photos of an entry.
func (m *maker) of(position int64) []photo {
	all := m.kept[:0:0]
	for i := range m.kept {
		if lists.Contains(m.kept[i].Of, position) {
			all = append(all, m.kept[i])
		}
	}
	return all
}

// A picture is a photo's data for the page, or why there is none.
type picture struct {
	Name    string // of a step's picture
	URL     string
	Missing string
	Again   bool   // the same photo is shown above, of another entry that it shows, or the same picture of another step
	Above   *photo // a photo with the same bytes, which are on the page only once
}

// photo returns the picture of a photo for the page.
func (m *maker) photo(p photo) picture {
	if first, ok := m.shown[p.Photo]; ok {
		return picture{Above: &first, Again: first.Position == p.Position}
	}
	out := m.picture(p.Photo)
	if out.URL != "" {
		m.shown[p.Photo] = p
	}
	return out
}

// ofStep is the picture of a step, if it has one.
func (m *maker) ofStep(p steps.Picture) picture {
	if p.Name == "" {
		return picture{}
	}
	out := m.picture(p.Digest)
	out.Name = p.Name
	out.Missing = strings.Replace(out.Missing, "The photo", "It", 1)
	return out
}

// ofStepOnce is the picture of a step where it comes first: its bytes are long.
func (m *maker) ofStepOnce(p steps.Picture) picture {
	if m.drawn[p.Digest] {
		return picture{Name: p.Name, Again: true}
	}
	out := m.ofStep(p)
	m.drawn[p.Digest] = out.URL != ""
	return out
}

// picture fetches one photo. Its bytes decide what type it is, not the journal,
// so that nothing else can pass for a picture.
func (m *maker) picture(digest string) picture {
	if p, ok := m.pictures[digest]; ok {
		return p
	}
	p := m.fetch(digest)
	m.pictures[digest] = p
	return p
}

func (m *maker) fetch(digest string) picture {
	if m.o.Photo == nil {
		return picture{Missing: "The photo is missing"}
	}
	data, _, err := m.o.Photo(digest)
	if err != nil {
		if why := reason(err); why != "" {
			return picture{Missing: "The photo is missing: " + why}
		}
		if errors.Is(err, photos.ErrTooLarge) {
			return picture{Missing: "The photo cannot be drawn: it is " + err.Error()}
		}
		return picture{Missing: "The photo cannot be drawn"}
	}
	mime := pictured(data)
	if mime == "" {
		return picture{Missing: "The photo is neither JPEG nor PNG"}
	}
	return picture{URL: ("data:" + mime + ";base64," + base64.StdEncoding.EncodeToString(data))}
}

// reason says what is wrong with a photo, without its path: a book is given
// away, and the folders of its maker are private.
func reason(err error) string {
	if at, ok := errors.AsType[*photos.Error](err); ok {
		return at.Err.Error()
	}
	return ""
}

// pictured is the media type of a picture, by its first bytes; "" for anything
// else.
func pictured(data []byte) string {
	switch {
	case bytes.HasPrefix(data, []byte("\xff\xd8\xff")):
		return "image/jpeg"
	case bytes.HasPrefix(data, []byte("\x89PNG\r\n\x1a\n")):
		return "image/png"
	}
	return ""
}
