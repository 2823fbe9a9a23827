package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"laycast/notify/ribbon"
)

// draw writes the hour ribbon of the first day into a file. An SVG is given a
// style sheet of its own, for it stands on no page.
func (f *finding) draw(file string) error {
	d := f.days[0].view.Ribbon()
	var b []byte
	switch ext := strings.ToLower(filepath.Ext(file)); ext {
	case ".png":
		png, err := d.PNG()
		if err != nil {
			return err
		}
		b = png
	case ".svg":
		svg, err := d.SVG("hours")
		if err != nil {
			return err
		}
		b = []byte(ribbon.Styled(svg))
	default:
		return usageError{fmt.Errorf("--ribbon %s: the name must end with .svg or .png", file)}
	}
	if err := os.WriteFile(file, b, 0o644); err != nil {
		return fmt.Errorf("write the hour ribbon: %w", err)
	}
	return nil
}
