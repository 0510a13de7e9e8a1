package page

import (
	"fmt"
	"strings"

	"fettle/procedures"
	"fettle/steps"
	"fettle/workflow"
)

// A Cited is a document that a journal goes by.
type Cited struct {
	Kind     string `json:"kind"`
	Name     string `json:"name"`
	Revision int    `json:"revision"`
	Digest   string `json:"digest"`
	Origin   string `json:"origin"`
	Replaces int    `json:"replaces,omitempty"` // the revision of the embedded document in whose place it stands
	// MadeOf are the documents that the steps of a plan of repair were written in.
	MadeOf []string `json:"made_of,omitempty"`
}

// Cite lists the design sheet in force and the procedures of the jobs, each once, and
// of a plan of repair what it was made of.
func Cite(s *workflow.State, origin func(name, digest string) procedures.Origin, writtenIn func(plan *steps.Procedure, digest string) []string) []Cited {
	var all []Cited
	known := map[string]bool{}
	cite := func(kind, name string, revision int, digest string) {
		if !known[digest] {
			from := origin(name, digest)
			all = append(all, Cited{kind, name, revision, digest, from.String(), from.Replaces, nil})
		}
		known[digest] = true
	}
	cite(procedures.KindDesign, s.Sheet.Name, s.Sheet.Revision, s.SheetDigest)
	for _, j := range s.Jobs {
		p := j.Procedure
		if len(j.Damages) == 0 {
			cite(p.Kind, p.Name, p.Revision, j.Digest)
			continue
		}
		all = append(all, Cited{p.Kind, p.Name, p.Revision, j.Digest, "made by the program for the repair of " + strings.Join(j.Damages, ", "), 0, writtenIn(p, j.Digest)})
	}
	return all
}

// Line is the document in a few words.
func (c Cited) Line() string {
	return fmt.Sprintf("%s %s, revision %d, digest %s: %s", c.Kind, c.Name, c.Revision, shortly(c.Digest), c.Origin+optionally(", of ", strings.Join(c.MadeOf, "; ")))
}

// shortly is as much of a digest as tells one from another.
func shortly(digest string) string {
	digest = strings.TrimPrefix(digest, "sha256:")
	return digest[:min(8, len(digest))]
}
