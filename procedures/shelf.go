package procedures

import (
	"os"
	"path/filepath"
	"slices"

	"fettle/steps/lists"
)

// A shelf finds the documents that others use: among files, then in a folder of
// one's own, then among the embedded ones. Each is read once. It is not safe for
// use by several goroutines.
type shelf struct {
	files  []string
	folder string

	own      map[string]*source // by name; nil: not looked at yet
	embedded map[string]*source
}

// find is the document of the name, nil where there is none, with the names that
// there are. One of one's own that can't be read is not replaced by an embedded
// one.
func (s *shelf) find(name string) (*source, []string) {
	if s.own == nil {
		s.own, s.embedded = map[string]*source{}, map[string]*source{}
		s.lookAtOwn()
	}
	if own := s.own[name]; own != nil {
		return own, nil
	}
	if have := s.embedded[name]; have != nil {
		return have, nil
	}
	data, err := embeddedFile(name)
	if err != nil {
		return nil, s.known()
	}
	s.embedded[name] = sourceOf(name+".yaml", data)
	return s.embedded[name], nil
}

func (s *shelf) lookAtOwn() {
	paths := lists.Clone(s.files)
	if s.folder != "" {
		files, _ := os.ReadDir(s.folder) // one that can't be read is said by who lists it
		for _, f := range files {
			if !f.IsDir() && isYAML(f.Name()) {
				paths = append(paths, filepath.Join(s.folder, f.Name()))
			}
		}
	}
	for _, path := range paths {
		data, err := readFile(path)
		from := &source{file: path, faults: Faults{{File: path, Text: "cannot be read"}}}
		if err == nil {
			from = sourceOf(path, data)
		}
		if from.root != nil && from.root.Kind == mappingNode && !hasKey(from.root, "procedure") {
			continue
		}
		names := claimOf(path, data, from.faults).names
		if len(from.faults) == 0 {
			names = []string{fields{node: from.root}.get("procedure").Value}
		}
		for _, name := range names {
			if s.own[name] == nil {
				s.own[name] = from
			}
		}
	}
}

// sourceOf is a document as far as it can be used.
func sourceOf(file string, data []byte) *source {
	root, faults := syntax(file, data, false)
	if len(faults) == 0 && (root.Kind != mappingNode || !hasKey(root, "procedure")) {
		faults = Faults{{file, int(root.Line), int(root.Column), "it is not a procedure"}}
	}
	return &source{file: file, digest: digest(data), data: data, root: root, faults: faults}
}

// known are the names of all procedures that can be used.
func (s *shelf) known() []string {
	var names []string
	for name := range s.own {
		names = append(names, name)
	}
	names = append(names, embeddedFiles()...)
	slices.Sort(names)
	return lists.Compact(names)
}
