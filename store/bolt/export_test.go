package bolt

import "os"

// CheckPages looks at every page of a file that is not being written to.
func CheckPages(path string) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	head, err := readHead(file)
	if err != nil {
		return err
	}
	return checkPages(file, head)
}
