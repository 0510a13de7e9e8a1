package procedures

import "testing"

func TestExcerpt(t *testing.T) {
	got, err := Excerpt("safe.yaml", "title:", "- step: air-the-bench")
	if err != nil {
		t.Fatal(err)
	}
	const begins = "title: What every repair begins and ends with\n- step: air-the-bench\n  title: Air in, heat out\n  do: |\n    - Pull the plug"
	if len(got) < len(begins) || got[:len(begins)] != begins {
		t.Errorf("got\n%s", got)
	}
	for _, wrong := range [][2]string{{"none.yaml", "title:"}, {"safe.yaml", "never:"}} {
		if got, err := Excerpt(wrong[0], wrong[1]); err == nil {
			t.Errorf("%v gives %q", wrong, got)
		}
	}
}
