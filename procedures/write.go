package procedures

import (
	"bytes"
	"fmt"

	"gopkg.in/yaml.v3"

	"fettle/steps"
)

// Write gives a procedure the form that [Read] reads.
func Write(p *steps.Procedure) ([]byte, error) {
	out := document{Procedure: p.Name, Kind: p.Kind, Design: p.Design, On: p.On, Title: p.Title, Revision: p.Revision, About: p.About}
	for _, s := range p.Stages {
		stage := stageOut{Stage: s.Name, Title: s.Title, After: s.After, Phase: s.Phase}
		for _, step := range s.Steps {
			stage.Steps = append(stage.Steps, written(step))
		}
		out.Stages = append(out.Stages, stage)
	}
	var b bytes.Buffer
	e := yaml.NewEncoder(&b)
	e.SetIndent(2)
	if err := e.Encode(out); err != nil {
		return nil, fmt.Errorf("writing the procedure %s: %w", p.Name, err)
	}
	return b.Bytes(), nil
}

// The keys of a procedure, as they are written.
type (
	document struct {
		Procedure string     `yaml:"procedure"`
		Kind      string     `yaml:"kind"`
		Design    string     `yaml:"design,omitempty"`
		On        []string   `yaml:"on,omitempty,flow"`
		Title     string     `yaml:"title"`
		Revision  int        `yaml:"revision"`
		About     string     `yaml:"about,omitempty"`
		Stages    []stageOut `yaml:"stages"`
	}
	stageOut struct {
		Stage string    `yaml:"stage"`
		Title string    `yaml:"title,omitempty"`
		After []string  `yaml:"after,omitempty,flow"`
		Phase string    `yaml:"phase,omitempty"`
		Steps []stepOut `yaml:"steps"`
	}
	stepOut struct {
		Step     string     `yaml:"step"`
		Title    string     `yaml:"title,omitempty"`
		Caution  []string   `yaml:"caution,omitempty"`
		Do       string     `yaml:"do,omitempty"`
		Why      string     `yaml:"why,omitempty"`
		Hands    string     `yaml:"hands,omitempty"`
		Needs    *yaml.Node `yaml:"needs,omitempty"`
		Sets     *yaml.Node `yaml:"sets,omitempty"`
		Disturbs []string   `yaml:"disturbs,omitempty,flow"`
		With     string     `yaml:"with,omitempty"`
		Without  string     `yaml:"without,omitempty"`
		Shared   string     `yaml:"shared,omitempty"`
		Coat     *coatOut   `yaml:"coat,omitempty"`
		Join     *joinOut   `yaml:"join,omitempty"`
		Wait     any        `yaml:"wait,omitempty"`
		Measure  []string   `yaml:"measure,omitempty,flow"`
		Hold     *holdOut   `yaml:"hold,omitempty"`
		Release  string     `yaml:"release,omitempty"`
	}
	coatOut struct {
		Joint string `yaml:"joint"`
		With  string `yaml:"with"`
	}
	joinOut struct {
		Joint string `yaml:"joint"`
		Load  string `yaml:"load"`
	}
	waitOut struct {
		Joint string `yaml:"joint"`
		Until string `yaml:"until"`
	}
	holdOut struct {
		Confirm []string `yaml:"confirm"`
	}
)

func written(s steps.Step) stepOut {
	out := stepOut{
		Step: s.Name, Title: s.Title, Caution: s.Cautions, Do: s.Do, Why: s.Why, Hands: s.Hands.Typed(),
		Needs: settingsOut(s.Needs), Sets: settingsOut(s.Sets), Disturbs: s.Disturbs, With: s.With, Without: s.Without,
	}
	if s.Shared {
		out.Shared = "yes"
	}
	switch s.Kind {
	case steps.Coat:
		out.Coat = &coatOut{s.Joint, s.Adhesive}
	case steps.Join:
		load := "no"
		if s.Load {
			load = "yes"
		}
		out.Join = &joinOut{s.Joint, load}
	case steps.Wait:
		if s.Joint != "" {
			out.Wait = waitOut{s.Joint, s.Until}
		} else {
			out.Wait = s.For.Typed()
		}
	case steps.Measure:
		out.Measure = s.Gates
	case steps.Hold:
		out.Hold = &holdOut{s.Confirm}
	case steps.Release:
		out.Release = "yes"
	}
	return out
}

// settingsOut keeps the order in which the settings were written.
func settingsOut(settings []steps.Setting) *yaml.Node {
	if len(settings) == 0 {
		return nil
	}
	n := &yaml.Node{Kind: yaml.MappingNode, Style: yaml.FlowStyle}
	for _, s := range settings {
		n.Content = append(n.Content, &yaml.Node{Kind: yaml.ScalarNode, Value: s.Condition}, &yaml.Node{Kind: yaml.ScalarNode, Value: s.State})
	}
	return n
}
