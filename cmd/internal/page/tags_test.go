package page

import "testing"

// A word in angle brackets is one, unless it is within code.
func TestTextsHaveNoTags(t *testing.T) {
	for text, want := range map[string]string{
		"Press the <side> rib.": "\nPress the \\<side> rib.\n",
		"`<side>` stays":        "\n`<side>` stays\n",
		"```\n<side>\n```":      "\n```\n<side>\n```\n",
		"\\<side> is escaped":   "\n\\<side> is escaped\n",
		"<https://a.example>":   "\n<https://a.example>\n",
		"3 < 4 > 2":             "\n3 < 4 > 2\n",
	} {
		var l lines
		l.text(text)
		if got := l.String(); got != want+"\n" {
			t.Errorf("%q is %q", text, got)
		}
	}
}
