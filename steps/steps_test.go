package steps

import "testing"

func TestStepsOfAJoint(t *testing.T) {
	p := &Procedure{Stages: []Stage{
		{Name: "one", Steps: []Step{{Name: "left", Kind: Coat, Joint: "roots"}, {Name: "other", Kind: Coat, Joint: "tab"}, {Name: "look", Kind: Do}}},
		{Name: "two", Steps: []Step{{Name: "right", Kind: Coat, Joint: "roots"}, {Name: "dry", Kind: Wait, Joint: "roots"}, {Name: "close", Kind: Join, Joint: "roots"}}},
	}}
	var names []string
	for _, s := range p.Coats("roots") {
		names = append(names, s.Name)
	}
	if len(names) != 2 || names[0] != "left" || names[1] != "right" {
		t.Errorf("roots is coated by %v", names)
	}
	if s, ok := p.JoinOf("roots"); !ok || s.Name != "close" {
		t.Errorf("roots is joined by %q", s.Name)
	}
	if s, ok := p.JoinOf("tab"); ok {
		t.Errorf("tab is joined by %q", s.Name)
	}
}

// The first row of which finding, zone and severity all fit answers.
func TestAnswer(t *testing.T) {
	table := &Triage{Unknown: "look-closely", Rows: []Row{
		{Finding: "cracked", Zones: []string{"wing"}, Severities: []string{Total}, Procedure: "new-wing"},
		{Finding: "cracked", Zones: []string{"wing", "tail"}, Procedure: "glue"},
		{Finding: "dented", Severities: []string{Slight}, Procedure: "steam"},
	}}
	for _, c := range []struct{ finding, zone, severity, want string }{
		{"cracked", "wing", Total, "new-wing"}, {"cracked", "wing", Slight, "glue"}, {"cracked", "tail", Total, "glue"}, {"cracked", "pod", Total, "look-closely"},
		{"dented", "pod", Slight, "steam"}, {"dented", "wing", Total, "look-closely"}, {"odd", "wing", Total, "look-closely"},
	} {
		row, known := table.Answer(c.finding, c.zone, c.severity)
		if row.Procedure != c.want || known != (c.want != "look-closely") {
			t.Errorf("%s, %s, %s: %q, known: %v", c.finding, c.zone, c.severity, row.Procedure, known)
		}
	}
}
