package photos

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

const longestName = 100 // in bytes

// cleanName turns the path of a file into a printable name: its last part,
// whichever slashes it uses, without control characters and others that change how
// a line reads.
func cleanName(path, mime string) string {
	ext := ".jpg"
	if mime == mimePNG {
		ext = ".png"
	}
	name := path[strings.LastIndexAny(path, `/\`)+1:]
	name = strings.ToValidUTF8(name, "")
	name = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) { // of the spaces, only ' ' is printable
			if unicode.IsSpace(r) {
				return ' '
			}
			return -1
		}
		return r
	}, name)
	name = strings.Join(strings.Fields(name), " ")
	if len(name) > longestName {
		end := name[strings.LastIndexByte(name, '.')+1:]
		if len(end) == len(name) || len(end) > 5 {
			end = ext[1:]
		}
		cut := longestName - len("….") - len(end)
		for !utf8.RuneStart(name[cut]) {
			cut--
		}
		name = name[:cut] + "…." + end
	}
	if strings.Trim(name, ". ") == "" {
		return "photo" + ext
	}
	return name
}
