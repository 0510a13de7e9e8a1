package term

import (
	"bytes"
	"regexp"
	"strings"
	"testing"
)

// What the renderer itself sets a text with.
var sgr = regexp.MustCompile("\x1b\\[[0-9;]*m")

// Whatever the text, a terminal is given nothing to act on beside the
// renderer's own colours, and without colour nothing at all.
func FuzzShow(f *testing.F) {
	for _, text := range []string{
		"# Title\n\n- **bold**, `code`; 5.9 mm of left-boom\n\n```\nfettle done CW-01\n```\n> quoted\n\n|a|b|\n|-|-|\n|c|d|\n",
		"&#27;[31mred &#x1b;]0;title&#7; &#x202e;turned &shy &zwj; &NewLine; \\&shy; &#xE000;",
		"```\ncode\n```\n&#xF0000; [a.b](c.d-e.pdf) ![a](b.c)\n\n[x]: &#27;.y\n",
		"```a`&#27;`\n    ```&#27;\n~~~&#27;\n&#27;\n", "<div title=\"&#27;\">\n&#27;", "\x1b[2J\u0085\ufeff\U000F0000",
	} {
		f.Add(text, false)
		f.Add(text, true)
	}
	f.Fuzz(func(t *testing.T, text string, colour bool) {
		var b bytes.Buffer
		if err := (Streams{Columns: 60, Colour: colour}).ShowTo(&b, text); err != nil {
			t.Fatal(err)
		}
		shown := b.String()
		if colour {
			shown = sgr.ReplaceAllString(shown, "")
		}
		if strings.ContainsFunc(shown, hidden) {
			t.Errorf("%q is shown as %q", text, shown)
		}
	})
}
