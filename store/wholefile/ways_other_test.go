//go:build !windows

package wholefile

func ways() map[string]func(from, to string) error {
	return map[string]func(from, to string) error{"publish": publish, "link": publishByLink, "alone": renameAlone}
}
